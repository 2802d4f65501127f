// A scanner or a wired gauge: keys that come faster than fingers and end with Enter.
// A key that came late, or one read late, still belongs to what is typed in the field of the serial.
import { byId, now, say } from "./parts.js";

const BURST = 35, LATE = 1000; // ms
const LETTERS = { p: "pass", r: "fixed", b: "send back", h: "hold" };

const MEASURED = /^[+-]?[0-9]+([.,][0-9]+)?(mm|in|thou|ct|cents)?$/i; // what a wired gauge sends

// Does a burst read like a serial? Those on file say so; a prefix nobody has seen yet counts where no gauge says such things.
export const isSerial = text => {
  if (!/^[A-Za-z0-9-]{4,}$/.test(text)) return false;
  const shapes = now.shapes || new Set();
  if (shapes.has(text.toUpperCase().replace(/[0-9]+/g, "#"))) return true;
  return /[0-9]/.test(text) && (MEASURED.test(text) ? !shapes.size && /^[0-9]{5,}$/.test(text) : /[A-Za-z]/.test(text));
};

// A serial at the end of what stands in the field of a value: a scanner whose keys came as slowly as fingers.
export const serialIn = text => {
  const end = /[A-Za-z][A-Za-z0-9]*-?[0-9]{3,}$/.exec(text);
  return end && isSerial(end[0]) ? end[0] : "";
};

let ahead = "";

// What was typed while a card was being opened, into its first field, or as the serial that it is.
export const replay = open => {
  const typed = ahead.split("\n");
  ahead = "";
  typed.forEach((text, k) => {
    const ended = k < typed.length - 1, field = document.activeElement;
    if (ended && isSerial(text)) { byId("serial").value = text; open(text, true); return; }
    if (!field || field.tagName !== "INPUT" || field.id === "serial") return;
    if (text) { field.value += text; field.dispatchEvent(new Event("input", { bubbles: true })); }
    if (ended) field.dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true, cancelable: true }));
  });
};

// does : { open(serial, scanned), pick(outcome), undo(), escape() }
export const listen = does => {
  let burst = [], before = null, pressedAt = -Infinity, joined = false;
  const begin = (at, active, typing) => {
    burst = [];
    before = typing ? { field: active, value: active.value } : null;
    joined = typing && active.id === "serial" && active.value !== "" && at - pressedAt < LATE;
  };
  const letter = key => {
    const word = LETTERS[key.toLowerCase()], pressed = burst;
    if (word) setTimeout(() => { if (pressed === burst && burst.length === 1) does.pick(word); }, BURST + 5);
  };
  document.addEventListener("keydown", event => {
    if (now.opening) { // of the card that comes, not of the one that goes
      const sign = event.key.length === 1 ? event.key : event.key === "Enter" ? "\n" : "";
      if (sign && !event.ctrlKey && !event.metaKey && !event.altKey) { event.preventDefault(); event.stopPropagation(); ahead += sign; }
      return;
    }
    const at = event.timeStamp, active = document.activeElement;
    const typing = active && ["INPUT", "SELECT"].includes(active.tagName);
    if (event.altKey && event.key.toLowerCase() === "z") { event.preventDefault(); does.undo(); return; }
    if (event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey) {
      if (!burst.length || at - burst[burst.length - 1].at > BURST) begin(at, active, typing);
      burst.push({ key: event.key, at });
      pressedAt = at;
      if (!typing && now.card) letter(event.key);
      return;
    }
    if (event.key === "Escape") { event.preventDefault(); does.escape(); return; }
    if (event.key !== "Enter") { if (event.key !== "Shift") burst = []; return; }
    const text = burst.map(one => one.key).join(""), late = burst.length ? at - burst[burst.length - 1].at : Infinity;
    const quick = burst.length >= 4 && late <= BURST * 3, sent = late <= (burst.length > 1 ? BURST * 3 : BURST);
    burst = [];
    pressedAt = -Infinity;
    if (quick && isSerial(text) && !joined && now.bench && byId("serial")) {
      event.preventDefault();
      event.stopPropagation();
      if (before && before.field.id !== "serial") {
        before.field.value = before.value;
        before.field.dispatchEvent(new Event("input"));
      }
      byId("serial").value = text;
      does.open(text, true);
    } else if (sent && !typing) { // a burst never presses a button
      event.preventDefault();
      say(`${text} came from a gauge or scanner and no field waited for it: tap the row, then send it again.`, true);
    }
  }, true);
};
