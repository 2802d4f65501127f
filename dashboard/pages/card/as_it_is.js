// A pass over a reading that lies outside, or that is none: asked once more, and said in what is kept.
import { DONE, MARK, button, byId, el, now, say } from "./parts.js";
import { foot } from "./head.js";
import { called, id, inHand, lastState, limits, withUnit } from "./rows.js";

const WHOLE = { pass: "Pass it as it is", fixed: "Put right: keep it as it is" }; // outcomes that say all is well
const AMISS = ["outside", "asks", "unread"];

const amiss = () => Object.values(now.values).filter(one => AMISS.includes(lastState(one)));
const names = list => list.map(one => called(one.field)).join("; ");
const typed = one => one.left || one.found;
const unit = one => (/^[\d.,+-]+$/.test(typed(one)) ? inHand(one).shown : "");
const answer = () => amiss().map(one => `${called(one.field)} ${typed(one)} ${lastState(one)}`).join("; ");

// Must it be asked before this card is kept?  A value typed anew asks anew.
export const mustAsk = () => now.outcome in WHOLE && amiss().length > 0 && now.agreed !== answer();

// How a card is kept, as it is said and as it is noted beside its readings where one of them is amiss.
export const asKept = () => {
  const plain = DONE[now.outcome], out = now.outcome in WHOLE ? amiss() : [];
  const outside = out.filter(one => lastState(one) === "outside"), unsure = out.filter(one => !outside.includes(one));
  const told = [outside.length && `outside: ${names(outside)}`, unsure.length && `not sure: ${names(unsure)}`].filter(Boolean);
  return told.length ? `${plain} as it is; ${told.join("; ")}` : plain;
};

// The cursor to the first of them.
export const toAmiss = () => {
  const first = amiss()[0], place = first && document.querySelector(`[data-row="${CSS.escape(id(first.field))}"]`);
  if (!place) return;
  place.querySelector("input, .words button").focus();
  place.scrollIntoView({ block: "nearest" });
};

// does : { keep, back }
export const askOnce = does => {
  const line = one => el("p", {}, el("b", {}, called(one.field)), ` ${withUnit(typed(one), unit(one))}: ${MARK[lastState(one)]}`, el("br"), limits(one));
  const title = amiss().length > 1 ? "These are not as asked." : "This is not as asked.";
  now.asked = true;
  foot();
  const back = button({ id: "back-to-it", class: "next wide", onclick: does.back }, "Back to it");
  byId("rows").replaceChildren(el("div", { class: "choose", role: "dialog", "aria-label": title }, el("h1", {}, title),
    ...amiss().map(line), el("p", {}, back),
    el("p", {}, button({
      id: "as-it-is", class: "wide", onclick: () => { now.agreed = answer(); does.keep(); },
    }, WHOLE[now.outcome]))));
  byId("rows").firstChild.scrollIntoView({ block: "start" });
  say("");
  back.focus();
};
