// Documents outside the frame - Card, signing in, what is said of a wrong address - follow the system's light or dark.
// The frame does it itself, so this file is not loaded there. Loaded in the head: nothing is drawn before it has run.
"use strict";
(() => {
  const dark = window.matchMedia("(prefers-color-scheme: dark)");
  const follow = () => document.documentElement.setAttribute("data-mantine-color-scheme", dark.matches ? "dark" : "light");
  follow();
  if (dark.addEventListener) dark.addEventListener("change", follow); // older ones follow when they are opened again
})();
