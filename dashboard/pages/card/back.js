// Send back: what is wrong, where, to which bench; one sentence says what will be written.
import { button, byId, el, now, say } from "./parts.js";

const FRETS = 15;

// then : { drawn(), left() }
export const sendBack = then => {
  now.back = now.back || { faults: [], at: [], to: "" };
  const { back, card } = now, words = now.faults || { faults: [], often: 0 };
  const here = card.route.findIndex(one => one.here);
  const stages = card.route.filter(one => !one.here).slice(0, here)
    .concat([{ key: "supplier", name: "supplier" }, { key: "unknown", name: "cannot be known" }]);
  const most = words.here ? "those caught here most often first" : "none was caught here lately; the shop's most frequent first";
  const turn = (list, one) => (list.includes(one) ? list.filter(each => each !== one) : [...list, one]);

  const chip = one => button({
    "data-fault": one.key, "aria-pressed": String(back.faults.includes(one.key)),
    onclick: () => {
      back.faults = turn(back.faults, one.key);
      const told = words.faults.find(each => each.key === back.faults[0]);
      const suspect = (told || {}).suspect || "";
      if (back.faults.length && !back.chosen) back.to = stages.some(one => one.key === suspect) ? suspect : "";
      draw();
    },
  }, one.key);

  const fret = (s, f) => {
    const word = f ? `${s + 1} fret ${f}` : `${s + 1} open`, chosen = back.at.includes(word);
    return button({
      "aria-label": `string ${s + 1}, ${f ? `fret ${f}` : "open"}`, "data-at": word, "aria-pressed": String(chosen),
      onclick: () => { back.at = turn(back.at, word); draw(); },
    }, chosen ? "here" : "");
  };

  const neck = () => {
    const strings = card.strings || 6;
    const head = el("div", {}, el("span"), ...["open", ...Array.from({ length: FRETS }, (_, k) => k + 1)]
      .map(one => el("span", {}, String(one))));
    const side = s => (s === 0 ? " treble" : s === strings - 1 ? " bass" : "");
    return el("div", { class: "neck" }, head, ...Array.from({ length: strings }, (_, s) => el("div", {},
      el("span", {}, `${s + 1}${side(s)}`), ...Array.from({ length: FRETS + 1 }, (_, f) => fret(s, f)))));
  };

  const where = one => button({
    "data-to": one.key, "aria-pressed": String(back.to === one.key),
    onclick: () => { back.to = back.to === one.key ? "" : one.key; back.chosen = true; draw(); },
  }, one.name);

  const sentence = () => {
    const what = back.faults.length ? back.faults.join("; ") : back.unsaid ? "no fault named" : "";
    if (!what) return "Choose what is wrong, or cannot say.";
    const to = stages.find(one => one.key === back.to);
    return `${what}${back.at.length ? `, ${back.at.join(", ")}` : ""}${back.to ? `, to ${(to || {}).name}` : ""}.`;
  };

  const draw = () => {
    const shown = words.faults.slice(0, back.all ? undefined : words.often);
    const more = words.faults.length > shown.length;
    byId("rows").replaceChildren(el("div", { class: "back" },
      el("h2", {}, "What is wrong?", el("small", {}, `${most}; several may be chosen`)),
      el("div", { class: "chips" }, ...shown.map(chip),
        more ? button({ onclick: () => { back.all = true; draw(); } }, "another fault…") : "",
        button({
          "data-fault": "", "aria-pressed": String(!!back.unsaid),
          onclick: () => { back.unsaid = !back.unsaid; draw(); },
        }, "cannot say")),
      el("h2", {}, "Where?", el("small", {}, "tap string and fret")), neck(),
      el("h2", {}, "To which bench?",
        el("small", {}, "benches before this one; the fault's first suspect is ticked, a finding only once confirmed there")),
      el("div", { class: "chips" }, ...stages.map(where)),
      el("p", {}, button({ id: "leave-it", onclick: then.left }, "Leave it: back to the readings"))));
    say(sentence());
    then.drawn();
  };
  draw();
  byId("rows").firstChild.scrollIntoView({ block: "start" });
};
