// Which bench this tablet stands at, and who works there.
import { askOrRecall, button, byId, el, now, say } from "./parts.js";

const KEY = "card-bench";

// A tab's own bench first: two tabs of one tablet may stand at two benches.
export const stoodAt = () => JSON.parse(sessionStorage.getItem(KEY) || localStorage.getItem(KEY) || "null");

// begun : what follows once a bench is chosen
export const choose = async (root, begun) => {
  const told = await askOrRecall("benches"), mine = { stage: "", bench: "", tech: "", ...now.bench };
  if (now.own.tech) mine.tech = now.own.tech; // whoever is signed in works here
  const begins = button({ id: "begin", class: "next", onclick: () => begin() });
  const chosen = () => {
    const stage = told.stages.find(one => one.key === mine.stage);
    begins.replaceChildren("Begin", el("small", {}, [stage && stage.name, mine.tech].filter(Boolean).join(", ")));
  };
  const chips = (list, name, label, then = () => 0) => {
    const group = el("div", { class: name === "tech" ? "chips few" : "chips" }, ...list.map(one => button({
      "data-key": one.key, "aria-pressed": String(mine[name] === one.key),
      onclick: () => {
        mine[name] = mine[name] === one.key && name === "tech" ? "" : one.key;
        for (const each of group.children) each.setAttribute("aria-pressed", String(each.dataset.key === mine[name]));
        chosen();
        then();
      },
    }, label(one))));
    return group;
  };
  const begin = () => {
    if (!mine.stage) { say("Choose the stage.", true); return; }
    mine.bench = byId("bench-name").value.trim() || mine.stage;
    mine.name = told.stages.find(one => one.key === mine.stage).name;
    now.bench = mine;
    for (const store of [sessionStorage, localStorage]) store.setItem(KEY, JSON.stringify(mine));
    begun();
  };
  const who = el("h2", {}, "Who works here");
  const people = told.techs.length && !now.own.tech
    ? [who, chips(told.techs, "tech", one => (one.name ? `${one.key} ${one.name}` : one.key))] : [];
  const name = el("input", {
    id: "bench-name", value: mine.bench === mine.stage ? "" : mine.bench, maxlength: 30, autocomplete: "off",
    oninput: event => { mine.bench = event.target.value; },
  });
  const stages = chips(told.stages, "stage", one => one.name, () => people.length && who.scrollIntoView({ block: "start" }));
  root.replaceChildren(el("div", { class: "screen" },
    el("header", { class: "bar" }, el("b", {}, "Card"), el("span", {}, root.dataset.shop),
      now.own.name ? el("a", { href: "/me", id: "me", class: "net" }, now.own.name) : el("a", { href: "/", class: "net" }, "Truerun")),
    el("main", { class: "choose first" }, el("h1", {}, "Which bench is this?"),
      el("h2", {}, "Stage"), stages, ...people,
      el("h2", {}, el("label", { for: "bench-name" }, "The bench's own name, where a stage has several")), name),
    el("footer", { class: "begin" }, el("p", { id: "line", class: "line", role: "status" }), begins)));
  chosen();
};
