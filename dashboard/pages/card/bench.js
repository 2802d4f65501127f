// Which bench this tablet stands at, and who works there.
import { askOrRecall, button, byId, el, now, say } from "./parts.js";

const KEY = "card-bench";

// A tab's own bench first: two tabs of one tablet may stand at two benches.
export const stoodAt = () => JSON.parse(sessionStorage.getItem(KEY) || localStorage.getItem(KEY) || "null");

// begun : what follows once a bench is chosen
export const choose = async (root, begun) => {
  const told = await askOrRecall("benches"), mine = { stage: "", bench: "", tech: "", ...now.bench };
  const chips = (list, name, label) => el("div", { class: "chips" }, ...list.map(one => button({
    "data-key": one.key, "aria-pressed": String(mine[name] === one.key),
    onclick: () => { mine[name] = mine[name] === one.key && name === "tech" ? "" : one.key; paint(); },
  }, label(one))));
  const begin = () => {
    if (!mine.stage) { say("Choose the stage.", true); return; }
    mine.bench = byId("bench-name").value.trim() || mine.stage;
    mine.name = told.stages.find(one => one.key === mine.stage).name;
    now.bench = mine;
    for (const store of [sessionStorage, localStorage]) store.setItem(KEY, JSON.stringify(mine));
    begun();
  };
  const people = told.techs.length
    ? [el("h2", {}, "Who works here"), chips(told.techs, "tech", one => (one.name ? `${one.key} ${one.name}` : one.key))] : [];
  const name = el("input", {
    id: "bench-name", value: mine.bench, maxlength: 30, autocomplete: "off",
    oninput: event => { mine.bench = event.target.value; },
  });
  const paint = () => root.replaceChildren(el("div", { class: "screen" },
    el("header", { class: "bar" }, el("b", {}, "Card"), el("span", {}, root.dataset.shop),
      el("a", { href: "/", class: "net" }, "Truerun")),
    el("main", { class: "choose" }, el("h1", {}, "Which bench is this?"),
      el("h2", {}, "Stage"), chips(told.stages, "stage", one => one.name), ...people,
      el("h2", {}, el("label", { for: "bench-name" }, "The bench's own name")), name,
      el("p", {}, button({ id: "begin", class: "next wide", onclick: begin }, "Begin")), el("p", { id: "line", class: "line" }))));
  paint();
};
