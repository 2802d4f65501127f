// Another serial while a card is open, or a card that is left: asked once, with large buttons.
import { DONE, button, byId, el, now } from "./parts.js";
import { foot, ready } from "./head.js";

export const touched = () => Object.values(now.values).some(one => one.found || one.left);

const last = one => (one.left ? one.states.left : one.states.found);
const some = (...words) => Object.values(now.values).some(one => words.includes(last(one)));

// Does a value of the open card ask for a look before it is kept by itself?
export const asks = () => some("asks", "unread");

// What the open card may be kept as from the question; '' where the person must say it on the card.
const word = () => (ready() ? now.outcome : now.outcome || asks() || some("outside") ? "" : "pass");

// next : the serial that was scanned or typed, '' where the card is only left.  does : { keep(outcome), carry, leave, back }
export const question = (next, does) => {
  const { card } = now, outcome = word();
  const title = card.undone ? `${card.serial} was taken back.` : `${card.serial} is still open.`;
  const line = (id, text, act, first = false) =>
    el("p", {}, button({ id, class: first ? "next wide" : "wide", onclick: act }, text));
  now.asked = true;
  foot();
  byId("rows").replaceChildren(el("div", { class: "choose", role: "dialog", "aria-label": title }, el("h1", {}, title),
    next && card.undone ? line("leave-open", `Leave it taken back, and open ${next}`, does.leave, true) : "",
    outcome && next
      ? line("keep-open", `Keep ${card.serial} as ${DONE[outcome]}${card.undone ? " again" : ""}`, () => does.keep(outcome), !card.undone)
      : "",
    next && touched() ? line("carry-open", `These readings are of ${next}`, does.carry) : "",
    next && card.undone ? "" : line("leave-open", "Leave it: nothing of it is kept", does.leave),
    line("back-to-it", "Back to it", does.back, !next)));
};
