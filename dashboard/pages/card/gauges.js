// The day's check of a gauge on its master piece, in two touches: the gauge, then what it reads.
import { ask, button, byId, el, fails, now, number, say } from "./parts.js";

const CELLS = 7;

// close : back to the card
export const gauges = async close => {
  const check = async (one, value) => {
    try {
      const told = await ask("check", { gauge: one.key, text: number(value), tech: now.bench.tech });
      draw(told.gauges, `Kept: ${one.name} reads ${number(value)} ${one.shown}.`);
    } catch (fault) { fails(fault); }
  };
  const section = one => {
    const about = one.note ? `: ${one.note}` : one.due ? ": due" : "";
    const cells = Array.from({ length: CELLS }, (_, k) => {
      const value = Math.round((one.master + (k - (CELLS - 1) / 2) * one.step) * 1e6) / 1e6;
      return button({ "data-reads": number(value), onclick: () => check(one, value) }, number(value));
    });
    return el("section", { "data-gauge": one.key },
      el("h2", {}, `${one.name}, master ${number(one.master)} ${one.shown}${about}`), el("div", { class: "cells" }, ...cells));
  };
  const draw = (list, said) => {
    say(said || "");
    byId("rows").replaceChildren(el("div", { class: "choose" }, el("h1", {}, "What does it read on its master piece?"),
      ...list.map(section),
      list.length ? "" : el("p", {}, "No gauge of shop.toml has a master piece yet (master, check_days)."),
      el("p", {}, button({ id: "checked", onclick: close }, "Back to the card"))));
  };
  draw((await ask("gauges")).gauges);
};
