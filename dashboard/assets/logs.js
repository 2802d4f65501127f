// Logs by keyboard: Up, Down, Space, Enter, N, 1 to 9, L, R, Z among the answers of the open decision.
(() => {
  const work = () => document.getElementById("logs-work");
  const rows = () => [...document.querySelectorAll("#logs-work .w-row")];
  const boxOf = (row) => row.querySelector("input[type=checkbox]");
  const press = (id) => {
    const button = document.getElementById(id);
    if (button && button.style.display !== "none") { button.click(); return true; }
    return false;
  };
  // What the page says of the open decision; once it says something else, the focus goes to the first answer.
  const told = () => [document.getElementById("logs-work-said"), document.querySelector("#logs-work h3")].map((one) => (one ? one.textContent : "")).join("|");
  let wanted = null;
  const busy = () => { wanted = told(); };
  document.addEventListener("keydown", (event) => {
    if (!work() || event.ctrlKey || event.metaKey || event.altKey) return;
    const on = document.activeElement, typing = on && (on.tagName === "TEXTAREA" || (on.tagName === "INPUT" && on.type !== "checkbox"));
    const inside = on && on.closest("#logs-work");
    if (on && on !== document.body && !inside && on.tagName !== "A" && on.tagName !== "BUTTON") return;
    const row = on && on.closest(".w-row"), all = rows();
    if (event.key === "Enter" && inside && (typing || (on.type === "checkbox"))) {
      busy(); if (press("logs-work-accept")) event.preventDefault();
      return;
    }
    if (event.key === "ArrowDown" || event.key === "ArrowUp") {
      if (!all.length || (typing && !row)) return;
      const next = all[Math.max(0, Math.min(all.length - 1, (row ? all.indexOf(row) : -1) + (event.key === "ArrowDown" ? 1 : -1)))];
      boxOf(next).focus(); event.preventDefault();
      return;
    }
    if (typing) return;
    const key = event.key.toLowerCase();
    if (key === "enter" && (!on || on === document.body)) { busy(); press("logs-work-accept"); }
    else if (key === "n") { busy(); press("logs-work-unknown"); }
    else if (key === "l") { busy(); press("logs-work-later"); }
    else if (key === "z") { busy(); press("logs-work-undo"); }
    else if (key === "r" && row) row.querySelector(".w-look").click();
    else if (/^[1-9]$/.test(key)) { const button = document.querySelector(`#logs-work button[data-key="${key}"]`); if (button) { busy(); button.click(); } }
    else return;
    event.preventDefault();
  });
  new MutationObserver(() => {
    if (wanted === null || !work() || told() === wanted) return;
    const on = document.activeElement;
    if (on && on !== document.body) return;
    const first = rows()[0];
    if (first) { boxOf(first).focus(); wanted = null; }
  }).observe(document, { childList: true, subtree: true });
})();
