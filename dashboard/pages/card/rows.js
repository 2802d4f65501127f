// The rows of a card: strip, value, answer. What a text says and how it lies is asked of the counter.
import { MARK, ask, button, byId, el, fails, now, number, say } from "./parts.js";
import { serialIn } from "./keys.js";

const REPEAT = 500, EACH = 125; // ms
const CELLS = 13; // most steps drawn as cells, and no more than have room
const CELL = 43, BESIDE = 562, MARGIN = 32, NARROW = 760; // px: of a cell, beside a strip, beside a row; one column below
const MARKS = 60; // most steps of a fine gauge that are ruled under its board
const NS = "http://www.w3.org/2000/svg";

export const id = field => `${field.characteristic} ${field.position}`.trim();

export const called = ({ name, position, quantity }) =>
  (position ? `${name}, ${quantity === "pitch" && /^[0-9]/.test(position) ? "string " : ""}${position}` : name);

// The gauge in hand for a row, with limits, target and the last five in its own unit.
export const inHand = mine => mine.field.gauges.find(one => one.key === mine.gauge) || mine.field.gauges[0];

const HANDS = "card-hands"; // which of several gauges was taken last for a characteristic
const hands = () => JSON.parse(localStorage.getItem(HANDS) || "{}");

// A cell without the unit that its field shows anyway.
export const bare = (cell, mine) => {
  const { shown } = inHand(mine);
  return shown && cell.endsWith(shown) ? cell.slice(0, -shown.length).trim() : cell;
};

const room = () => Math.floor((innerWidth - (innerWidth > NARROW ? BESIDE : MARGIN)) / CELL);

const places = hand => {
  const step = String(Math.round(hand.step * 1e4) / 1e4);
  return step.includes(".") ? step.split(".")[1].length : 0;
};
const shownValue = (hand, value) => {
  if (Math.abs(value % 1) === 0.5 && hand.unit === "64ths") return `${Math.trunc(value) || ""}½`;
  return ["mm", "deg"].includes(hand.unit) ? value.toFixed(places(hand)) : number(value);
};
export const lastState = mine => (mine.left ? mine.states.left : mine.states.found);

// what to do once a value was typed, once it is answered, and where a serial came into its field
let judged = () => 0, typed = () => 0, strayed = () => 0;
export const whenStrayed = act => { strayed = act; };
export const whenJudged = act => { judged = act; };
export const whenTyped = act => { typed = act; };

export const row = field => {
  const key = id(field), chosen = field.gauges.find(one => one.key === hands()[field.characteristic]) || field.gauges[0];
  now.values[key] = now.values[key]
    || { field, found: "", left: "", moment: "found", gauge: chosen.key, states: {}, at: {}, cells: {} };
  const mine = now.values[key], hand = inHand(mine);
  const about = el("div", {}, el("h2", {}, called(field)),
    whichGauge(mine, key), hand.note ? el("div", { class: "g", "data-gauge-note": key }, hand.note) : "",
    el("div", { class: "ask" }, asked(hand)));
  const answer = el("div", { class: "ans" }, el("p", { "aria-live": "polite" }), field.quantity === "class" ? "" : turner(key));
  if (field.quantity === "class") {
    const words = field.values.map(word => button({
      "data-word": word, "aria-pressed": "false", onclick: () => set(key, mine.found === word ? "" : word),
    }, word));
    return el("div", { class: "r", "data-row": key }, about, el("div", { class: "words" }, ...words), answer);
  }
  const input = el("input", {
    "data-value": key, "aria-label": called(field), inputmode: "none", autocomplete: "off",
    maxlength: 40,
    oninput: event => { put(key, event.target.value); judge(key); },
    onclick: event => event.target.setAttribute("inputmode", "decimal"),
    onkeydown: event => {
      if (event.key !== "Enter") return;
      event.preventDefault();
      const serial = serialIn(event.target.value);
      if (serial) { set(key, event.target.value.slice(0, -serial.length)); strayed(serial); } else onward(event.target);
    },
  });
  const value = el("div", { class: "val" },
    stepper(key, -1), el("span", {}, input, el("em", {}, hand.shown)), stepper(key, 1));
  return el("div", { class: "r", "data-row": key }, about, strip(hand, key), el("div", {}, value, answer));
};

// A limit or target as the counter says it in the unit of the gauge; of a card remembered from before as it stands.
const limit = (hand, name) => (hand.asked ? hand.asked[name] : number(hand[name]));
export const withUnit = (text, shown) => (!shown || shown.startsWith("/") ? `${text}${shown}` : `${text} ${shown}`);

const asked = hand => {
  const { lower, target, upper, shown } = hand;
  if (lower === null && upper === null) return "";
  const middle = target === null ? "" : `${withUnit(limit(hand, "target"), shown)}, `;
  const last = text => (middle ? text : withUnit(text, shown));
  if (lower === null) return `asked ${middle}at most ${last(limit(hand, "upper"))}`;
  if (upper === null) return `asked ${middle}at least ${last(limit(hand, "lower"))}`;
  return `asked ${middle}${limit(hand, "lower")} to ${last(limit(hand, "upper"))}`;
};

export const limits = mine => asked(inHand(mine));

const whichGauge = (mine, key) => {
  const hand = inHand(mine);
  if (mine.field.gauges.length < 2) {
    return el("div", { class: "g" }, hand.name ? `${hand.name}, ${withUnit(number(hand.step), hand.shown)}` : "");
  }
  return el("select", { "aria-label": "gauge in hand", class: "in-hand", onchange: event => take(key, event.target.value) },
    ...mine.field.gauges.map(one => el("option", { value: one.key, selected: one.key === hand.key }, one.name)));
};

// Another gauge is taken in hand: the row in its unit. What was read already stays what it was, with its own unit.
const take = (key, gauge) => {
  const mine = now.values[key];
  localStorage.setItem(HANDS, JSON.stringify({ ...hands(), [mine.field.characteristic]: gauge }));
  const read = ["found", "left"].filter(moment => mine[moment]);
  for (const moment of read) mine[moment] = mine.cells[moment] || mine[moment];
  Object.assign(mine, { gauge, at: {} }); // where it lies in the new unit is on its way
  line(key).replaceWith(row(mine.field));
  draw(key);
  stays = read.length > 0;
  if (stays) say(`${mine.left || mine.found} stays as it was read; type it again if it was read on ${inHand(mine).name}.`);
  for (const moment of read) judge(key, moment);
  line(key).querySelector("select").focus();
};

// The button between what was found and what was left; it stays, so that no press on it is lost.
const turner = key => button({
  tabindex: -1, "data-left": key, hidden: true,
  onclick: () => {
    const mine = now.values[key];
    mine.moment = mine.moment === "found" ? "left" : "found";
    draw(key);
    line(key).querySelector("input").focus();
  },
}, "left as…");

const line = key => document.querySelector(`[data-row="${CSS.escape(key)}"]`);

const stepper = (key, way) => {
  let held = null, begun = null;
  const once = () => step(key, way);
  const stop = () => { clearTimeout(begun); clearInterval(held); begun = held = null; };
  return button({
    "aria-label": way > 0 ? "one step more" : "one step less", tabindex: -1,
    onpointerdown: () => { begun = setTimeout(() => { held = setInterval(once, EACH); }, REPEAT); },
    onpointerup: stop, onpointerleave: stop, onpointercancel: stop, onclick: once,
  }, way > 0 ? "+" : "−");
};

const span = hand => {
  const { step, last } = hand, ends = [hand.lower, hand.upper].filter(one => one !== null);
  if (ends.length === 2) return [hand.lower - step, hand.upper + step];
  const mid = hand.target ?? ends[0] ?? last[last.length - 1] ?? null;
  return mid === null ? null : [mid - 8 * step, mid + 8 * step];
};

const strip = (hand, key) => {
  const across = span(hand), step = hand.step;
  if (!across) return el("div", { class: "strip" });
  const low = Math.floor(across[0] / step + 1e-6), high = Math.ceil(across[1] / step - 1e-6), n = high - low + 1;
  const at = value => 100 * (value / step - low + 0.5) / n;
  const dots = el("div", { class: "dots", "aria-hidden": "true" },
    ...hand.last.map(value => el("i", { style: `left:${Math.min(100, Math.max(0, at(value)))}%` })));
  const drawn = n > Math.min(CELLS, room()) ? el("div", {}, board(hand, at, low, n), ruler(hand, at))
    : el("div", { class: "cells" }, ...Array.from({ length: n }, (_, k) => cell(hand, key, low + k)));
  return el("div", { class: "strip", "data-strip": key }, dots, drawn);
};

const cell = (hand, key, k) => {
  const { step, lower, upper } = hand;
  const value = Math.round(k * step * 1e6) / 1e6, under = value - step / 2, over = value + step / 2;
  const out = (upper !== null && under >= upper - 1e-9) || (lower !== null && over <= lower + 1e-9);
  const crossed = upper !== null && over > upper + 1e-9 ? "cross" : lower !== null && under < lower - 1e-9 ? "cross low" : "";
  const kind = out ? "" : crossed || (lower !== null || upper !== null ? "in" : "");
  return button({
    tabindex: -1, "data-cell": number(value), "aria-pressed": "false", class: kind,
    onclick: () => set(key, number(value)),
  }, shownValue(hand, value));
};

// What its limits and its target are, under the board.
const ruler = (hand, at) => el("div", { class: "ruler", "aria-hidden": "true" },
  ...["lower", "target", "upper"].filter(name => hand[name] !== null)
    .map(name => el("i", { style: `left:${Math.min(97, Math.max(3, at(hand[name])))}%` }, limit(hand, name))));

const board = (hand, at, low, n) => {
  const svg = document.createElementNS(NS, "svg");
  const about = { viewBox: "0 0 500 62", preserveAspectRatio: "none", role: "img", "aria-label": "what is asked, to scale" };
  for (const [name, value] of Object.entries(about)) svg.setAttribute(name, value);
  const add = (tag, given) => {
    const one = document.createElementNS(NS, tag);
    for (const [name, value] of Object.entries(given)) one.setAttribute(name, value);
    svg.append(one);
  };
  const { lower, upper, target } = hand, x = value => 5 * at(value);
  const from = lower === null ? 0 : x(lower), to = upper === null ? 500 : x(upper);
  if (lower !== null || upper !== null) add("rect", { x: from, y: 8, width: to - from, height: 40, fill: "var(--board)" });
  for (const end of [lower, upper]) {
    if (end !== null) add("rect", { x: x(end) - 1, y: 4, width: 2, height: 48, fill: "var(--boardedge)" });
  }
  const marks = n > MARKS ? [] : Array.from({ length: n }, (_, k) => low + k);
  for (const k of marks) add("rect", { x: x(k * hand.step) - 0.5, y: 48, width: 1, height: k % 5 ? 5 : 10, fill: "var(--rule)" });
  if (target !== null) {
    for (const y of [10, 42]) add("circle", { cx: x(target), cy: y, r: 2.5, fill: "var(--boardedge)" });
  }
  add("rect", { class: "now", x: -9, y: 6, width: 4, height: 44, fill: "var(--focus)" });
  svg.at = x;
  return svg;
};

let stays = false; // the line speaks of a reading taken on the gauge before
const put = (key, text) => {
  const mine = now.values[key];
  mine[mine.moment] = text;
  if (stays) say("");
  stays = false;
  typed();
};
const set = (key, text) => { put(key, text); judge(key); };

const step = async (key, way) => {
  const mine = now.values[key];
  if (mine[mine.moment] && mine.at[mine.moment] === undefined) await settled();
  if (mine[mine.moment] && mine.at[mine.moment] === undefined) return; // it cannot be read
  const { step: size, plausible, target, last, lower } = inHand(mine);
  let from = mine[mine.moment] ? mine.at[mine.moment] : mine.moment === "left" ? mine.at.found : undefined;
  if (from === undefined) {
    const usual = target ?? last[last.length - 1] ?? lower ?? 0;
    from = Math.round(usual / size) * size - way * size;
  }
  const mark = way > 0 ? Math.floor(from / size + 1e-6) + 1 : Math.ceil(from / size - 1e-6) - 1; // the next one of this gauge
  const to = Math.round(mark * size * 1e6) / 1e6;
  if (plausible && (to < plausible[0] - 1e-9 || to > plausible[1] + 1e-9)) return;
  mine.at[mine.moment] = to;
  set(key, number(to));
};

const waiting = new Set();

// All that was typed has been answered.
export const settled = () => Promise.all(waiting);

export const judge = (key, moment = now.values[key].moment) => {
  const one = answered(key, moment).finally(() => waiting.delete(one));
  waiting.add(one);
  return one;
};

// What was typed at the other points of something that must read alike all round.
const others = (mine, moment) => Object.values(now.values)
  .filter(one => one !== mine && one.field.characteristic === mine.field.characteristic)
  .map(one => (moment === "left" && one.left) || one.found).filter(Boolean);

let asking = 0;
const answered = async (key, moment) => {
  const mine = now.values[key], text = mine[moment], turn = ++asking;
  mine.turns = { ...mine.turns, [moment]: turn };
  draw(key);
  try {
    const told = await ask("judge", {
      stage: now.bench.stage, model: now.card.model, characteristic: mine.field.characteristic,
      position: mine.field.position, text, gauge: mine.gauge, beside: mine.field.even ? others(mine, moment) : [],
    });
    if (turn !== mine.turns[moment]) return;
    mine.states[moment] = told.state;
    mine.cells[moment] = told.cell;
    mine.why = told.why || "";
    if (typeof told.shown === "number") mine.at[moment] = told.shown;
  } catch (fault) {
    if (turn !== mine.turns[moment]) return;
    mine.states[moment] = "";
    fails(fault);
  }
  draw(key);
  judged(mine.states, lastState(mine));
};

export const draw = key => {
  const mine = now.values[key], place = line(key);
  if (!place) return;
  const text = mine[mine.moment], at = mine.at[mine.moment], size = inHand(mine).step;
  const input = place.querySelector("input");
  if (input && input.value !== text) input.value = text;
  const chosen = text && at !== undefined ? number(Math.round(Math.round(at / size) * size * 1e6) / 1e6) : "";
  for (const one of place.querySelectorAll("[data-cell], [data-word]")) {
    const pressed = one.dataset.word ? one.dataset.word === mine.found : one.dataset.cell === chosen;
    one.setAttribute("aria-pressed", String(pressed));
  }
  const svg = place.querySelector("svg"), mark = svg && svg.querySelector(".now");
  if (mark) mark.setAttribute("x", text && at !== undefined ? Math.min(498, Math.max(0, svg.at(at) - 2)) : -9);
  place.querySelector(".ans p").replaceChildren(...said(key, mine));
  const turn = place.querySelector("[data-left]");
  if (!turn) return;
  turn.hidden = !mine.found;
  turn.textContent = mine.moment === "found" ? "left as…" : "found…";
};

const said = (key, mine) => {
  const { found, left } = mine.states;
  const parts = mine.left
    ? [el("span", {}, `${MARK[found] || ""} found ${mine.found}`),
      el("b", { "data-answer": key }, `${MARK[left] || ""}, left as ${mine.left}`)]
    : [el("b", { "data-answer": key }, MARK[found] ?? "")];
  return mine.why ? [...parts, el("span", {}, mine.why)] : parts;
};

const onward = input => {
  const every = [...document.querySelectorAll("#rows input[data-value]")];
  const next = every.slice(every.indexOf(input) + 1).find(one => !one.value);
  if (!next) { document.querySelector(`#outcomes [data-outcome="${now.outcome || "pass"}"]`).focus(); return; }
  next.focus();
  next.closest(".r").scrollIntoView({ block: "nearest" });
};

export const first = () => byId("rows").querySelector("input, .words button");
