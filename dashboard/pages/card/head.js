// The frame of a card: header, instrument, outcomes, foot. It is made once; what is said changes in its place.
import { DONE, OUTCOME, button, byId, el, now, plural } from "./parts.js";

// does : { open, pick, keep, undo, leave, gauges, other }
export const frame = (root, does) => {
  const { bench } = now;
  const serial = el("input", {
    id: "serial", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: 60,
    onkeydown: event => { if (event.key === "Enter") { event.preventDefault(); does.open(event.target.value); } },
  });
  const outcome = ([key, word]) => button({
    "data-outcome": key, "aria-pressed": "false", disabled: true,
    onclick: () => does.pick(key),
    onkeydown: event => {
      if (event.key !== "Enter" || now.outcome !== key || key === "send back") return;
      event.preventDefault();
      does.keep();
    },
  }, word, el("small", {}));
  root.replaceChildren(el("div", { class: "screen" },
    el("header", { class: "bar" }, el("b", {}, bench.name),
      el("span", { class: "who" }, [bench.tech, bench.bench === bench.stage ? "" : bench.bench].filter(Boolean).join(" at ")),
      el("span", { id: "net", class: "net", role: "status" }, "All cards kept"),
      button({ id: "gauges", onclick: does.gauges }, "Gauges"), now.own.stage ? "" : button({ id: "other", onclick: does.other }, "Other bench"),
      now.own.name ? el("a", { href: "/me", id: "me" }, now.own.name) : ""),
    el("section", { class: "inst", "aria-label": "Instrument" },
      el("div", {}, el("label", { for: "serial" }, "Serial: scan it or type it"), serial),
      el("div", { id: "route" }), el("div", { id: "what", class: "what" })),
    el("main", { id: "rows", class: "rows" }), el("p", { id: "line", class: "line", role: "status" }),
    el("div", { id: "outcomes", class: "outc" }, ...Object.entries(OUTCOME).map(outcome)),
    el("footer", { id: "foot", class: "foot" }, el("p", { id: "today" }),
      button({ class: "undo", id: "undo", hidden: true, onclick: does.undo }, el("b", {}, "Undo the last"), el("span", {})),
      button({ class: "undo", id: "leave", disabled: true, onclick: does.leave },
        el("b", {}, "Leave it"), el("span", {}, "nothing is kept")),
      button({ class: "next", id: "next", disabled: true, onclick: does.keep }, "Next"))));
};

export const instrument = another => {
  const { card } = now, { route, due } = card;
  byId("serial").value = card.serial;
  const came = card.came_back ? `, came back ${plural(card.came_back, "time")}` : "";
  const passed = route.filter(one => one.passed).length;
  const words = card.on_file ? `${passed} of ${route.length} stages on file${came}` : "nothing on file yet";
  byId("route").replaceChildren(
    el("div", { class: "route", role: "img", "aria-label": words },
      ...route.map(one => el("i", { class: one.here ? "here" : one.passed ? "passed" : "" }))),
    el("p", { class: "route-words" }, words, el("b", { id: "due" }, due.length ? `${due.join(". ")}.` : "")));
  byId("what").replaceChildren(
    el("b", {}, card.model ? `${card.model}${card.model_guessed ? " ?" : ""}` : "model not known"),
    el("span", {}, card.on_file ? card.family : "new here: not on file"), card.lot ? el("div", {}, `neck lot ${card.lot}`) : "",
    card.order || card.goes_to
      ? el("div", {}, [card.order && `order ${card.order}`, card.goes_to && `to ${card.goes_to}`].filter(Boolean).join(", ")) : "",
    card.model_guessed ? button({ id: "another-model", onclick: another }, "another model") : "");
};

export const ready = () =>
  Boolean(now.card && now.card.model && now.outcome
    && (now.outcome !== "send back" || (now.back && (now.back.faults.length || now.back.unsaid))));

export const foot = () => {
  if (!byId("outcomes")) return;
  const { card, outcome, today } = now;
  byId("outcomes").hidden = now.asked || (!!now.back && outcome === "send back");
  for (const one of byId("outcomes").children) {
    const key = one.dataset.outcome;
    one.setAttribute("aria-pressed", String(outcome === key));
    one.disabled = !card || !card.model;
    one.querySelector("small").textContent = outcome !== key || now.said ? "" : key === "fixed" && !card.undone
      ? "ticked: found outside, left inside" : "as it was";
  }
  const n = today ? today.cards : 0, counts = today ? today.outcomes : {};
  const counted = Object.keys(OUTCOME).filter(key => counts[key]).map(key => `${counts[key]} ${DONE[key]}`).join(", ");
  byId("today").textContent = `Today at this bench: ${plural(n, "card")}${counted ? `; ${counted}` : ""}.`;
  const undo = byId("undo"), last = today && today.last;
  undo.hidden = !last;
  if (last) undo.lastChild.textContent = `${last.serial}, ${DONE[last.outcome]}`;
  byId("leave").disabled = !card || now.asked;
  byId("leave").lastChild.textContent = card && card.undone ? "it stays taken back" : "nothing is kept";
  byId("next").disabled = !ready() || now.asked;
  byId("next").textContent = outcome === "send back" ? "Send it back" : "Next";
};
