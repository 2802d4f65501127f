// Light or dark: as the system has it, until somebody says otherwise with the button of the frame; every document of this
// machine heeds that. Loaded in the head: nothing is drawn before it has run.
"use strict";
(() => {
  const KEPT = "truerun-scheme", dark = window.matchMedia("(prefers-color-scheme: dark)"), root = document.documentElement;
  const system = () => (dark.matches ? "dark" : "light");
  const said = () => { try { return localStorage.getItem(KEPT); } catch { return null; } }; // a browser may keep nothing
  const follow = () => root.setAttribute("data-scheme", said() || system());
  follow();
  if (dark.addEventListener) dark.addEventListener("change", follow); // older ones follow when they are opened again
  document.addEventListener("click", (event) => {
    if (!event.target.closest || !event.target.closest("#scheme")) return;
    const other = root.getAttribute("data-scheme") === "dark" ? "light" : "dark";
    root.setAttribute("data-scheme", other);
    try { other === system() ? localStorage.removeItem(KEPT) : localStorage.setItem(KEPT, other); } catch { /* for now only */ }
  });
})();
