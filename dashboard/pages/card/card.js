// Card: shows what the counter answers and sends what is typed. Nothing is judged or read here.
// What a person presses is done in the order of pressing, one after the other; nothing is kept that nobody said.
import { ask, askOrRecall, button, byId, el, fails, fresh, now, say } from "./parts.js";
import { asKept, askOnce, mustAsk, toAmiss } from "./as_it_is.js";
import { sendBack } from "./back.js";
import { choose, stoodAt } from "./bench.js";
import { forget, found, openBeside, save, tellKept, whenKept, whenTaken } from "./drafts.js";
import { gauges } from "./gauges.js";
import { foot, frame, instrument, ready } from "./head.js";
import { listen, replay } from "./keys.js";
import { bare, draw, first, judge, row, settled, whenJudged, whenStrayed, whenTyped } from "./rows.js";
import { asks, question, touched } from "./still_open.js";
import { hold, keepSending, net, ready as keptHere, recall, remember, sent, send, unsent } from "./unsent.js";

const root = byId("card");
const elsewhere = () => choose(root, () => inOrder(begin));
now.own = JSON.parse(root.dataset.own || "{}"); // of whoever is signed in: their tech; a tablet's one bench
now.bench = now.own.stage ? now.own : stoodAt();
if (now.bench && now.own.tech) now.bench.tech = now.own.tech;

let chain = Promise.resolve();
const inOrder = act => { chain = chain.then(act).catch(fails); return chain; };

// ---- one card after another
const begin = async () => {
  close();
  try {
    now.faults = await askOrRecall("faults", { stage: now.bench.stage });
    now.shapes = new Set((await askOrRecall("benches")).shapes);
    if (unsent().length) await send();
    await counted();
  } catch (fault) { fails(fault); }
  foot();
  net();
  const draft = await found(now.bench);
  if (!draft) return;
  if (unsent().some(one => one.card === draft.card)) { forget(); return; } // it was being kept
  if (await opens(draft.serial, draft.model, draft)) {
    say(`${draft.serial} was open when this page was left; nothing of it is kept yet.`);
  }
};

const counted = async () => { now.today = await ask("today", { bench: now.bench.bench }); foot(); };

const close = () => {
  Object.assign(now, { card: null, values: {}, outcome: "", said: false, back: null, asked: false, agreed: "" });
  frame(root, does);
  foot();
  net();
  byId("serial").focus();
};

// A card comes: what is typed from now on is its own.
const comes = act => {
  now.opening = (now.opening || 0) + 1;
  const rows = byId("rows");
  if (rows) rows.inert = true;
  return inOrder(act).finally(() => {
    now.opening -= 1;
    if (now.opening) return;
    if (byId("rows")) byId("rows").inert = false;
    focusFirst();
    replay(open);
  });
};

const open = (serial, scanned = false) => comes(async () => {
  serial = serial.trim().replace(/\s+/g, " ");
  if (!serial) return;
  if (now.card && now.card.serial === serial) { show(); return; }
  if (now.card && !(await mayLeave(serial, scanned))) return;
  await opens(serial);
});

// before : what was typed on this card already: { card, values, outcome, back, undone }
const opens = async (serial, model = "", before = null) => {
  const bench = { stage: now.bench.stage, tech: now.bench.tech };
  try {
    now.card = await ask("open", { ...bench, serial, model });
    if (now.card.model) {
      remember(`card ${bench.stage} ${now.card.model}`, now.card);
      remember(`last ${bench.stage}`, now.card.model);
    }
  } catch (fault) {
    const alone = fault.told || fault.signed_out ? null : await blank(serial, model);
    if (!alone) { fails(fault); return false; }
    now.card = alone;
  }
  now.card.opened_here = Date.now();
  now.card.beside = await openBeside(now.card.serial, now.bench);
  now.card.id = (before && before.card) || fresh();
  now.card.undone = Boolean(before && before.undone);
  Object.assign(now, { values: {}, outcome: "", said: false, back: null, asked: false, agreed: "" });
  if (!(history.state && history.state.card)) history.pushState({ card: true }, "");
  if (now.card.model) await fill(before);
  else now.card.before = before;
  if (!now.card.before) noted();
  show();
  return true;
};

// A card of the kind opened last, for when the machine does not answer: what is asked here, nothing of this instrument.
const blank = async (serial, model) => {
  const { stage } = now.bench, kind = model || await recall(`last ${stage}`);
  const like = kind && await recall(`card ${stage} ${kind}`);
  if (!like) return null;
  const bare = { lot: "", order: "", goes_to: "", came_back: 0, due: [], quiet: [], here_before: null, opened_at: "" };
  return {
    ...like, ...bare, serial, model_guessed: !model, alone: true, on_file: true,
    route: like.route.map(one => ({ ...one, passed: false })),
    fields: like.fields.map(one => ({ ...one, gauges: one.gauges.map(gauge => ({ ...gauge, last: [] })) })),
  };
};

// What was typed before, laid into the fields that this card has too.
const fill = async before => {
  for (const field of now.card.fields) row(field);
  for (const [key, was] of Object.entries((before && before.values) || {})) {
    const mine = now.values[key];
    if (!mine) continue;
    if (mine.field.gauges.some(one => one.key === was.gauge)) mine.gauge = was.gauge;
    for (const moment of ["found", "left"]) {
      if (!was[moment]) continue;
      Object.assign(mine, { moment, [moment]: bare(was[moment], mine) });
      await judge(key);
    }
    mine.moment = "found";
  }
  if (before) Object.assign(now, { outcome: before.outcome || "", back: before.back || null, said: false });
};

const mayLeave = async (serial, scanned) => {
  if (!touched() && !now.outcome && !now.card.undone) return true;
  await settled();
  if (scanned && now.said && now.outcome !== "send back" && ready() && !asks()) return kept(serial);
  stillOpen(serial);
  return false;
};

const stillOpen = serial => question(serial, {
  keep: outcome => comes(async () => {
    Object.assign(now, { outcome, said: true, asked: false });
    if (await kept(serial) && serial) await opens(serial);
  }),
  carry: () => comes(async () => { await opens(serial, "", { ...draft(), card: "", outcome: "", back: null, undone: false }); }),
  leave: () => comes(async () => { left(); if (serial) await opens(serial); }),
  back: show,
});

const left = () => {
  const { serial, undone } = now.card;
  forget();
  close();
  say(undone ? `${serial} stays taken back.` : `Left: ${serial}; nothing of it is kept.`);
};

const leave = () => inOrder(async () => {
  if (!now.card) return;
  if (touched() && !now.card.undone) stillOpen("");
  else left();
});

const show = () => {
  const { card } = now;
  if (!card) { close(); return; }
  now.asked = false;
  if (!byId("rows")) frame(root, does);
  instrument(() => pickModel().catch(fails));
  foot();
  say("");
  if (!card.model) { pickModel().catch(fails); return; }
  if (now.outcome === "send back") { backwards(); return; }
  const rows = byId("rows"), [told, ...others] = card.quiet, fold = (name, first, more) => (first ? el("details",
    { class: "caution", id: name }, el("summary", {}, first), ...more.map(one => el("p", {}, one))) : "");
  rows.replaceChildren(...card.fields.map(row),
    card.fields.length ? "" : el("p", { class: "line" }, "Nothing is measured here; say how it went."),
    fold("known", others.length ? `Known besides: ${others[0]}` : "", others.slice(1)),
    fold("mind", card.cautions.length ? `Mind: ${card.cautions[0]}` : "", card.cautions.slice(1)));
  for (const key of Object.keys(now.values)) draw(key);
  if (card.alone) say("The machine does not answer: values are kept here unjudged, and sent when it does.");
  else if (card.beside) say(`${card.serial} is open in another tab at this bench too: keep it in one of them.`, true);
  else if (told) say(told);
  else if (card.here_before) say("It was at this bench before; this is another visit.");
  focusFirst();
};

const focusFirst = () => {
  const place = now.card ? first() || document.querySelector("#outcomes button:not([disabled])") : byId("serial");
  if (place && !byId("rows").querySelector(".choose")) place.focus({ preventScroll: true });
};

const pickModel = async () => {
  const told = await askOrRecall("benches"), { serial } = now.card, before = now.card.before || draft();
  const chosen = key => comes(async () => { await opens(serial, key, before); });
  byId("rows").replaceChildren(el("div", { class: "choose" }, el("h1", {}, "Which model is it?"), el("div", { class: "chips" },
    ...told.models.map(one => button({ "data-model": one.key, onclick: () => chosen(one.key) }, one.name)))));
};

// ---- what was typed, on the tablet until it is kept
const draft = () => ({
  card: now.card.id, bench: now.bench.bench, stage: now.bench.stage, serial: now.card.serial,
  model: now.card.model_guessed ? "" : now.card.model, undone: now.card.undone, outcome: now.outcome, back: now.back,
  values: Object.fromEntries(Object.entries(now.values).filter(([, one]) => one.found || one.left)
    .map(([key, one]) => [key, { found: one.found, left: one.left, gauge: one.gauge }])),
});
const noted = () => {
  if (now.card && (touched() || now.outcome || now.card.undone)) save(draft());
  else forget();
};

whenTyped(noted);
whenStrayed(serial => open(serial));
whenJudged((states, last) => {
  if (states.found === "outside" && ["inside", "on the limit"].includes(states.left) && !now.outcome) now.outcome = "fixed";
  if (now.outcome === "pass" && last === "outside" && !picked) Object.assign(now, { outcome: "", said: false });
  foot();
});
whenKept(bench => { if (now.bench && bench === now.bench.bench) counted().catch(() => 0); });
whenTaken(() => { if (now.card) { close(); say("This card was taken up in another tab.", true); } });

// ---- outcome, send back, keep, undo
let picked = 0; // outcomes pressed while a value was still being answered: that answer asks, it takes nothing off
const pick = key => {
  if (!now.card || !now.card.model) return;
  now.outcome = now.outcome === key && now.said ? "" : key;
  now.said = Boolean(now.outcome);
  noted();
  foot();
  if (now.outcome === "send back") { backwards(); return; }
  if (!now.outcome) return;
  const { card } = now;
  picked += 1;
  inOrder(async () => {
    await settled().finally(() => { picked -= 1; });
    if (now.card === card && now.outcome === key && now.said && !now.asked && mustAsk()) await kept();
  });
};

const backwards = () => sendBack({ drawn: () => { noted(); foot(); }, left: readings });

const readings = () => { Object.assign(now, { outcome: "", said: false, back: null }); show(); };

const keep = () => inOrder(async () => { now.said = true; await kept(); });

// next : the serial that comes after it
const kept = async (next = "") => {
  if (!ready()) return false;
  await settled();
  if (!ready()) { say("A value lies outside: say once more how it went.", true); return false; }
  if (mustAsk()) {
    askOnce({
      keep: () => comes(async () => { now.asked = false; if (await kept(next) && next) await opens(next); }),
      back: () => { Object.assign(now, { outcome: "", said: false }); show(); toAmiss(); },
    });
    return false;
  }
  const { bench, card, back, outcome } = now, how = asKept(), every = Object.values(now.values);
  const hands = [...new Set(every.filter(one => one.found && one.field.gauges.length > 1).map(one => one.gauge))];
  const one = {
    card: card.id, bench: bench.bench, stage: bench.stage, tech: bench.tech, serial: card.serial, model: card.model,
    opened_at: card.opened_at, outcome, gauge: hands.length === 1 ? hands[0] : "",
    faults: back ? back.faults : [], fault_at: back ? back.at.join(" ") : "", sent_to: back ? back.to : "",
    values: every.filter(each => each.found || each.left).map(each => ({
      characteristic: each.field.characteristic, position: each.field.position, gauge: each.gauge,
      found: each.found, left: each.left,
    })),
    note: how.includes(";") ? how : "",
  };
  one.kept_here = Date.now();
  one.opened_here = card.opened_at ? null : card.opened_here;
  try { await hold(one); } catch {
    say("This tablet cannot keep it: its store is full or shut. The card stays open.", true);
    return false;
  }
  forget();
  let what = `Kept: ${one.serial}, ${how}.`;
  net();
  try { await sent(one.card); } catch (fault) {
    if (fault.told && !unsent().some(each => each.card === one.card)) { noted(); fails(fault); net(); return false; }
    const why = fault.signed_out ? fault.message : "It is sent when the machine answers.";
    what = `Kept on this tablet: ${one.serial}, ${how}. ${why}`;
  }
  tellKept(bench.bench);
  close();
  say(what);
  return true;
};

const undo = () => comes(async () => {
  if (!now.today || !now.today.last) return;
  if (now.card && (touched() || now.outcome)) { say(`${now.card.serial} is open: keep it or leave it first.`, true); return; }
  let told = null;
  try { told = await ask("undo", { bench: now.bench.bench, card: now.today.last.card }); } catch (fault) {
    fails(fault);
    await counted();
    return;
  }
  tellKept(now.bench.bench);
  const { row: was } = told, values = {};
  for (const name of Object.keys(was)) {
    const key = name.replace(/ left$/, ""), moment = key === name ? "found" : "left";
    if (was[name]) values[key] = { ...values[key], [moment]: was[name], gauge: was.gauge };
  }
  const back = was.outcome !== "send back" ? null : {
    faults: was.fault ? was.fault.split("; ") : [], at: was.fault_at.match(/\d+ (?:fret \d+|open)/g) || [],
    to: was.sent_back_to, chosen: true, unsaid: !was.fault,
  };
  now.today = told.today;
  const opened = await opens(was.serial, was.model, { values, outcome: was.outcome, back, undone: true });
  if (opened) say(`Taken back: ${was.serial}. Keep it anew, or leave it: both stand in the shop's folder.`);
});

const escape = () => {
  if (!now.card) return;
  if (now.outcome === "send back") readings();
  else if (now.card.model && byId("rows").querySelector(".choose")) show();
  else leave();
};

const does = {
  open, keep, undo, leave, escape,
  pick: key => (now.opening ? inOrder(() => pick(key)) : pick(key)), // of the card that comes
  gauges: () => gauges(show).catch(fails),
  other: () => { if (now.card && touched()) stillOpen(""); else elsewhere().catch(fails); },
};
listen(does);
keepSending(foot);
window.addEventListener("popstate", () => { // the tablet's Back: one step, and no card is lost by it
  if (!now.card) return;
  history.pushState({ card: true }, "");
  escape();
});
if (navigator.wakeLock) {
  document.addEventListener("click", () => navigator.wakeLock.request("screen").catch(() => 0), { once: true });
}
inOrder(async () => { await keptHere().catch(() => 0); await (now.bench ? begin() : elsewhere()); });
