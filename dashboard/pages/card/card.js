// Card: shows what the counter answers and sends what is typed. Nothing is judged or read here.
"use strict";
(() => {
  const root = document.getElementById("card");
  const BURST = 35, REPEAT = 500, EACH = 125, PATIENCE = 15000;  // ms
  const MARK = { inside: "✓ inside", "on the limit": "‖ on the limit", outside: "✕ outside", kept: "kept", asks: "? asks", unread: "?", "": "" };
  const OUTCOME = { pass: "Pass", fixed: "Put right here", "send back": "Send back to…", hold: "Hold" };
  const DONE = { pass: "passed", fixed: "put right", "send back": "sent back", hold: "on hold" };
  const { ready: kept_here, waiting: unsent, hold, drop, timed, remember, recall } = window.truerun_card;
  const own = JSON.parse(root.dataset.own || "{}");  // of whoever is signed in: their tech; a tablet's one bench
  let bench = own.stage ? own : JSON.parse(localStorage.getItem("card-bench") || "null");
  if (bench && own.tech) bench.tech = own.tech;
  let card = null, values = {}, outcome = "", today = null, sending = null, back = null, fault_words = null;

  const el = (tag, about = {}, ...inside) => {
    const made = document.createElement(tag);
    for (const [name, value] of Object.entries(about)) {
      if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
      else if (value === true) made.setAttribute(name, "");
      else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
    }
    made.append(...inside.filter(one => one !== null && one !== undefined && one !== ""));
    return made;
  };
  const ask = async (door, given = {}) => {
    const answer = await fetch(`/card/${door}`, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(given), signal: AbortSignal.timeout ? AbortSignal.timeout(PATIENCE) : undefined });
    const told = await answer.json().catch(() => ({}));
    if (answer.status === 401 || answer.status === 403) throw Object.assign(new Error(`${told.problem || "Sign in first."} What is kept here waits.`), { signed_out: true });
    if (!answer.ok) throw Object.assign(new Error(told.problem || "That did not work."), { told: answer.status < 500 });
    return told;
  };
  // What was answered last serves while the machine does not answer.
  const ask_or_recall = async (door, given = {}) => {
    const key = `${door} ${JSON.stringify(given)}`;
    try { const told = await ask(door, given); remember(key, told); return told; }
    catch (fault) { const before = fault.told || fault.signed_out ? undefined : await recall(key); if (before === undefined) throw fault; return before; }
  };
  const say = (text, problem = false) => { const line = document.getElementById("line"); if (line) { line.textContent = text; line.className = problem ? "line problem" : "line"; } };
  const fails = fault => say(fault.told || fault.signed_out ? fault.message : "The machine does not answer; nothing is lost, it is tried again.", true);
  const fresh = () => crypto.randomUUID ? crypto.randomUUID() : `${Date.now()}-${Math.random().toString(16).slice(2)}`;
  const number = value => String(Math.round(value * 1e4) / 1e4);
  const shownValue = (field, value) => { const half = Math.abs(value % 1) === 0.5 && field.gauges[0].unit === "64ths"; return half ? `${Math.trunc(value) || ""}½` : ["mm", "deg"].includes(field.gauges[0].unit) ? value.toFixed(places(field)) : number(value); };
  const places = field => { const step = String(Math.round(field.gauges[0].step * 1e4) / 1e4); return step.includes(".") ? step.split(".")[1].length : 0; };
  const id = field => `${field.characteristic} ${field.position}`.trim();

  // ---- unsent cards: written on the tablet first, sent until they are answered; the number makes them count once
  const send_all = async () => {
    for (const one of [...unsent()]) {
      try { const told = await ask("keep", timed({ ...one, waits: unsent().length - 1 })); await drop(one.card); clock_off = told.clock_off || 0; if (bench && one.bench === bench.bench) today = told.today; }
      catch (fault) { if (fault.told) { await remember(`refused ${one.card}`, one); await drop(one.card); } throw fault; }
    }
  };
  const send = () => { sending = sending || send_all().finally(() => { sending = null; net(); }); return sending; };  // one at a time
  let clock_off = 0;
  setInterval(() => { if (unsent().length && !sending) send().then(footer).catch(() => 0); }, 5000);
  window.addEventListener("online", () => { if (unsent().length) send().then(footer).catch(() => 0); });
  const net = () => {
    const here = document.getElementById("net"), n = unsent().length, minutes = Math.round(Math.abs(clock_off) / 60);
    if (here) here.textContent = (n ? `≠ Not answered: ${n} ${n === 1 ? "card" : "cards"} kept here` : "= all kept") + (minutes ? `; this tablet's clock is ${minutes} min ${clock_off > 0 ? "ahead" : "behind"}` : "");
  };

  // ---- which bench
  const choose = async () => {
    const told = await ask_or_recall("benches");
    const mine = bench || { stage: "", bench: "", tech: "" };
    const chips = (list, name, label) => el("div", { class: "chips" }, ...list.map(one => el("button", {
      type: "button", "data-key": one.key, "aria-pressed": String(mine[name] === one.key),
      onclick: () => { mine[name] = mine[name] === one.key && name === "tech" ? "" : one.key; draw(); } }, label(one))));
    const draw = () => root.replaceChildren(el("div", { class: "screen" },
      el("header", { class: "bar" }, el("b", {}, "Card"), el("span", {}, root.dataset.shop), el("a", { href: "/", class: "net", style: "color:inherit" }, "Truerun")),
      el("main", { class: "choose" }, el("h1", {}, "Which bench is this?"),
        el("h2", {}, "Stage"), chips(told.stages, "stage", one => one.name),
        told.techs.length ? el("h2", {}, "Who works here") : "", told.techs.length ? chips(told.techs, "tech", one => one.name ? `${one.key} ${one.name}` : one.key) : "",
        el("h2", {}, "The bench's own name"),
        el("input", { id: "bench-name", value: mine.bench, maxlength: 30, autocomplete: "off", style: "min-height:48px;width:260px;padding:0 8px", oninput: event => { mine.bench = event.target.value; } }),
        el("p", {}, el("button", { id: "begin", class: "next", type: "button", style: "padding:0 40px", onclick: () => {
          if (!mine.stage) return say("Choose the stage.", true);
          mine.bench = (document.getElementById("bench-name").value.trim() || mine.stage); mine.name = told.stages.find(one => one.key === mine.stage).name;
          bench = mine; localStorage.setItem("card-bench", JSON.stringify(bench)); begin();
        } }, "Begin")), el("p", { id: "line", class: "line" }))));
    draw();
  };

  // ---- the day's check of a gauge on its master piece: the gauge, then what it reads
  const gauges = async () => {
    const told = await ask("gauges"), rows = document.getElementById("rows");
    const draw = (list, said) => { say(said || ""); rows.replaceChildren(el("div", { class: "choose" }, el("h1", {}, "What does it read on its master piece?"),
      ...list.map(one => { const at = Math.round(one.master / one.step); return el("section", { "data-gauge": one.key }, el("h2", {}, `${one.name}, master ${number(one.master)} ${one.shown}${one.note ? `: ${one.note}` : one.due ? ": due" : ""}`),
        el("div", { class: "cells" }, ...Array.from({ length: 7 }, (_, k) => { const value = Math.round((one.master + (k - 3) * one.step) * 1e6) / 1e6; return el("button", { type: "button", "data-reads": number(value), onclick: async () => { try { draw((await ask("check", { gauge: one.key, text: number(value), tech: bench.tech })).gauges, `Kept: ${one.name} reads ${number(value)} ${one.shown}.`); } catch (fault) { fails(fault); } } }, number(value)); }))); }),
      list.length ? "" : el("p", {}, "No gauge of shop.toml has a master piece yet (master, check_days)."),
      el("p", {}, el("button", { type: "button", id: "checked", onclick: () => card ? show() : begin() }, "Back to the card")))); };
    draw(told.gauges);
  };

  const begin = async () => {
    card = null; values = {}; outcome = ""; back = null;
    frame(); focusSerial();
    try { fault_words = await ask_or_recall("faults", { stage: bench.stage }); if (unsent().length) await send(); today = await ask("today", { bench: bench.bench }); } catch (fault) { fails(fault); }
    footer(); net();
  };
  const focusSerial = () => { const field = document.getElementById("serial"); if (field) { field.focus(); field.select(); } };

  const frame = () => {
    root.replaceChildren(el("div", { class: "screen" },
      el("header", { class: "bar" }, el("b", {}, bench.name), el("span", {}, `${bench.tech ? `${bench.tech} at ` : ""}${bench.bench}`), el("span", { id: "net", class: "net", role: "status" }, "= all kept"), el("button", { type: "button", id: "gauges", onclick: () => gauges().catch(fails) }, "Gauges"), own.stage ? "" : el("button", { type: "button", id: "other", onclick: choose }, "Other bench"), own.name ? el("a", { href: "/me", id: "me", style: "color:inherit" }, own.name) : ""),
      el("section", { class: "inst", "aria-label": "Instrument" },
        el("div", {}, el("label", { for: "serial" }, "Serial: scan it or type it"), el("input", { id: "serial", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: 60,
          onkeydown: event => { if (event.key === "Enter") { event.preventDefault(); open(event.target.value); } } })),
        el("div", { id: "route" }), el("div", { id: "what", class: "what" })),
      el("main", { id: "rows", class: "rows" }), el("p", { id: "line", class: "line", role: "status", style: "margin:0" }),
      el("div", { id: "outcomes", class: "outc" }), el("footer", { id: "foot", class: "foot" })));
    outcomes(); footer();
  };

  const open = async (serial, model = "") => {
    serial = serial.trim();
    if (!serial) return;
    if (card && card.serial === serial && !model) return;
    if (card && card.serial !== serial && !(await leave(serial))) return;
    try { card = await ask("open", { stage: bench.stage, serial, model }); if (card.model) { remember(`card ${bench.stage} ${card.model}`, card); remember(`last ${bench.stage}`, card.model); } }
    catch (fault) { if (fault.told || fault.signed_out) return fails(fault); card = await blank(serial, model); if (!card) return fails(fault); }
    card.id = fresh(); card.opened_here = Date.now(); values = {}; outcome = ""; back = null;
    show();
  };
  // A card of the kind opened last, for when the machine does not answer: what is asked here, nothing of this instrument.
  const blank = async (serial, model) => {
    const kind = model || await recall(`last ${bench.stage}`), like = kind && await recall(`card ${bench.stage} ${kind}`);
    return like ? { ...like, serial, model_guessed: !model, alone: true, on_file: true, lot: "", came_back: 0, due: [], quiet: "", here_before: null, opened_at: "", route: like.route.map(one => ({ ...one, passed: false })), fields: like.fields.map(one => ({ ...one, last: [] })) } : null;
  };
  const touched = () => Object.values(values).some(one => one.found || one.left);
  const leave = async serial => {  // a serial scanned while a card is open
    if (!touched() && !outcome) return true;
    if (outcome && outcome !== "send back" && !Object.values(values).some(one => one.state === "asks" || one.state === "unread")) return keep();
    const word = outcome || "passed";
    return new Promise(done => {
      const box = el("div", { class: "choose", role: "dialog", "aria-label": "Another serial" }, el("h1", {}, `${card.serial} is still open.`),
        el("p", {}, el("button", { class: "next", id: "keep-open", type: "button", onclick: async () => { outcome = outcome || "pass"; const kept = await keep(); done(kept); } }, `Keep ${card.serial} as ${DONE[word] || "passed"}`)),
        el("p", {}, el("button", { type: "button", id: "back-to-it", style: "min-height:68px", onclick: () => { show(); done(false); } }, "Back to it")));
      document.getElementById("rows").replaceChildren(box);
    });
  };

  const show = () => {
    frame();
    const field = document.getElementById("serial"); field.value = card.serial;
    const passed = card.route.filter(one => one.passed).length;
    const words = `${passed} of ${card.route.length} stages on file${card.came_back ? `, came back ${card.came_back} ${card.came_back === 1 ? "time" : "times"}` : ""}${card.due.length ? `. ${card.due.join("; ")}` : ""}`;
    document.getElementById("route").replaceChildren(el("div", { class: "route", role: "img", "aria-label": words }, ...card.route.map(one => el("i", { class: one.here ? "here" : one.passed ? "passed" : "" }))), el("p", { class: "route-words", id: "due" }, words));
    document.getElementById("what").replaceChildren(el("b", {}, card.model ? `${card.model}${card.model_guessed ? " ?" : ""}` : "model not known"), card.family, card.lot ? el("div", {}, `neck lot ${card.lot}`) : "");
    const rows = document.getElementById("rows");
    if (!card.model) return pickModel(rows);
    rows.replaceChildren(...card.fields.map(row), ...(card.fields.length ? [] : [el("p", { class: "line" }, "Nothing is measured here; say how it went.")]), card.cautions.length ? el("details", { class: "caution" }, el("summary", { style: "min-height:44px;display:flex;align-items:center" }, `Mind: ${card.cautions[0]}`), ...card.cautions.slice(1).map(one => el("p", {}, one))) : "");
    for (const key of Object.keys(values)) draw(key);
    if (card.alone) say("The machine does not answer: values are kept here unjudged, and sent when it does.");
    else if (!card.on_file) say("Not on file: a new serial; Logs asks if it is none.");
    else if (card.quiet) say(card.quiet);
    else if (card.here_before) say("It was at this bench before; this is another visit.");
    const first = rows.querySelector("input, .words button"); if (first) first.focus({ preventScroll: true }); else document.querySelector("#outcomes button").focus();
  };
  const pickModel = async rows => {
    const told = await ask_or_recall("benches");
    rows.replaceChildren(el("div", { class: "choose" }, el("h1", {}, "Which model is it?"), el("div", { class: "chips" }, ...told.models.map(one => el("button", { type: "button", "data-model": one.key, onclick: () => { const serial = card.serial; card = null; open(serial, one.key); } }, one.name)))));
  };

  // ---- a row: strip, value, answer
  const row = field => {
    const key = id(field), hand = field.gauges[0];
    values[key] = values[key] || { field, found: "", left: "", moment: "found", gauge: hand.key, state: "", states: {} };
    const mine = values[key];
    const asked = field.lower === null && field.upper === null ? "" : `asked ${field.target === null ? "" : `${shownValue(field, field.target)}${hand.shown ? ` ${hand.shown}` : ""}, `}${field.lower === null ? "up" : shownValue(field, field.lower)} to ${field.upper === null ? "any" : shownValue(field, field.upper)}`;
    const about = el("div", {}, el("h2", {}, `${field.name}${field.position ? `, ${field.position}` : ""}`),
      field.gauges.length > 1 ? el("select", { "aria-label": "gauge in hand", style: "min-height:44px", onchange: event => { mine.gauge = event.target.value; judge(key); } }, ...field.gauges.map(one => el("option", { value: one.key }, one.name))) : el("div", { class: "g" }, hand.name ? `${hand.name}, ${number(hand.step)} ${hand.shown}` : ""),
      hand.note ? el("div", { class: "g", "data-gauge-note": key }, hand.note) : "",
      el("div", { class: "ask" }, asked));
    if (field.quantity === "class") {
      return el("div", { class: "r", "data-row": key }, about, el("div", { class: "words" }, ...field.values.map(word => el("button", { type: "button", "data-word": word, "aria-pressed": "false", onclick: () => { set(key, mine.found === word ? "" : word); } }, word))), el("div", { class: "ans", "aria-live": "polite" }));
    }
    const input = el("input", { "data-value": key, "aria-label": `${field.name} ${field.position}`, inputmode: "none", autocomplete: "off", maxlength: 40,
      oninput: event => { put(key, event.target.value); judge(key); },
      onclick: event => event.target.setAttribute("inputmode", "decimal"),
      onkeydown: event => { if (event.key === "Enter") { event.preventDefault(); onward(event.target); } } });
    return el("div", { class: "r", "data-row": key }, about, strip(field, key),
      el("div", {}, el("div", { class: "val" }, stepper(key, -1), el("span", {}, input, el("em", {}, hand.shown)), stepper(key, 1)), el("div", { class: "ans", "aria-live": "polite" })));
  };
  const stepper = (key, way) => {
    let held = null, begun = null;
    const once = () => step(key, way);
    const stop = () => { clearTimeout(begun); clearInterval(held); begun = held = null; };
    return el("button", { type: "button", "aria-label": way > 0 ? "one step more" : "one step less", tabindex: -1,
      onpointerdown: () => { begun = setTimeout(() => { held = setInterval(once, EACH); }, REPEAT); }, onpointerup: stop, onpointerleave: stop, onpointercancel: stop, onclick: once }, way > 0 ? "+" : "−");
  };
  const span = field => {
    const step = field.gauges[0].step, ends = [field.lower, field.upper].filter(one => one !== null);
    if (field.lower === null || field.upper === null) { const mid = field.target !== null ? field.target : ends.length ? ends[0] : field.last.length ? field.last[field.last.length - 1] : null; return mid === null ? null : [mid - 8 * step, mid + 8 * step]; }
    return [field.lower - step, field.upper + step];
  };
  const strip = (field, key) => {
    const across = span(field), step = field.gauges[0].step;
    if (!across) return el("div", { class: "strip" });
    const low = Math.floor(across[0] / step + 1e-6), high = Math.ceil(across[1] / step - 1e-6), n = high - low + 1;
    const at = value => 100 * (value / step - low + 0.5) / n;
    const dots = el("div", { class: "dots", "aria-hidden": "true" }, ...field.last.map(value => el("i", { style: `left:${Math.min(100, Math.max(0, at(value)))}%` })));
    if (n > 13) return el("div", { class: "strip", "data-strip": key }, dots, board(field, at));
    const cells = [];
    for (let k = low; k <= high; k++) {
      const value = Math.round(k * step * 1e6) / 1e6, under = value - step / 2, over = value + step / 2;
      const out = (field.upper !== null && under >= field.upper - 1e-9) || (field.lower !== null && over <= field.lower + 1e-9);
      const cross = !out && ((field.upper !== null && over > field.upper + 1e-9) ? "cross" : (field.lower !== null && under < field.lower - 1e-9) ? "cross low" : "");
      cells.push(el("button", { type: "button", tabindex: -1, "data-cell": number(value), "aria-pressed": "false", class: out ? "" : cross || (field.lower !== null || field.upper !== null ? "in" : ""), onclick: () => set(key, number(value)) }, shownValue(field, value)));
    }
    return el("div", { class: "strip", "data-strip": key }, dots, el("div", { class: "cells" }, ...cells));
  };
  const board = (field, at) => {
    const NS = "http://www.w3.org/2000/svg", svg = document.createElementNS(NS, "svg");
    svg.setAttribute("viewBox", "0 0 500 62"); svg.setAttribute("preserveAspectRatio", "none"); svg.setAttribute("role", "img"); svg.setAttribute("aria-label", "what is asked, to scale");
    const put = (tag, about) => { const one = document.createElementNS(NS, tag); for (const [name, value] of Object.entries(about)) one.setAttribute(name, value); svg.append(one); };
    const x = value => 5 * at(value), l = field.lower === null ? 0 : x(field.lower), u = field.upper === null ? 500 : x(field.upper);
    if (field.lower !== null || field.upper !== null) put("rect", { x: l, y: 8, width: u - l, height: 40, fill: "var(--board)" });
    for (const end of [field.lower, field.upper]) if (end !== null) put("rect", { x: x(end) - 1, y: 4, width: 2, height: 48, fill: "var(--boardedge)" });
    if (field.target !== null) for (const y of [10, 42]) put("circle", { cx: x(field.target), cy: y, r: 2.5, fill: "var(--boardedge)" });
    put("rect", { class: "now", x: -9, y: 6, width: 4, height: 44, fill: "var(--focus)" });
    svg.at = x;
    return svg;
  };

  const put = (key, text) => { const mine = values[key]; mine[mine.moment] = text; };
  const set = (key, text) => { put(key, text); judge(key); };
  const step = (key, way) => {
    const mine = values[key], field = mine.field, size = field.gauges[0].step;
    const last = mine.shown ?? mine.begin;
    let from = last;
    if (from === undefined || !mine[mine.moment]) { const usual = field.target ?? field.last[field.last.length - 1] ?? field.lower ?? 0; from = Math.round(usual / size) * size - way * size; }
    const to = Math.round((from + way * size) * 1e6) / 1e6;
    if (field.plausible && (to < field.plausible[0] - 1e-9 || to > field.plausible[1] + 1e-9)) return;
    mine.shown = to; set(key, number(to));
  };
  let asking = 0;
  const judge = async key => {
    const mine = values[key], moment = mine.moment, text = mine[moment], turn = ++asking;
    mine.turns = { ...mine.turns, [moment]: turn };
    draw(key);
    try {
      const told = await ask("judge", { stage: bench.stage, model: card.model, characteristic: mine.field.characteristic, position: mine.field.position, text, gauge: mine.gauge });
      if (turn !== mine.turns[moment]) return;
      mine.states[moment] = told.state; mine.state = told.state; mine.why = told.why || "";
      if (told.shown !== undefined && told.shown !== null && moment === mine.moment) mine.shown = told.shown;
    } catch (fault) { mine.states[moment] = mine.state = ""; fails(fault); }
    if (mine.states.found === "outside" && ["inside", "on the limit"].includes(mine.states.left) && !outcome) outcome = "fixed";
    if (outcome === "pass" && lastState(mine) === "outside") outcome = "";
    draw(key); outcomes();
  };
  const lastState = mine => mine.left ? mine.states.left : mine.states.found;
  const draw = key => {
    const mine = values[key], line = document.querySelector(`[data-row="${CSS.escape(key)}"]`);
    if (!line) return;
    const input = line.querySelector("input"); if (input && input.value !== mine[mine.moment]) input.value = mine[mine.moment];
    for (const one of line.querySelectorAll("[data-cell], [data-word]")) one.setAttribute("aria-pressed", String((one.dataset.word ?? one.dataset.cell) === (one.dataset.word ? mine.found : mine[mine.moment] ? number(Math.round((mine.shown ?? NaN) / mine.field.gauges[0].step) * mine.field.gauges[0].step) : "")));
    const svg = line.querySelector("svg"), now = svg && svg.querySelector(".now"); if (now) now.setAttribute("x", mine[mine.moment] && mine.shown !== undefined ? Math.min(498, Math.max(0, svg.at(mine.shown) - 2)) : -9);
    const answer = line.querySelector(".ans"), parts = [];
    if (mine.left) parts.push(el("span", {}, `${MARK[mine.states.found] || ""} found ${mine.found}`), el("b", { "data-answer": key }, `${MARK[mine.states.left] || ""}, left as ${mine.left}`));
    else parts.push(el("b", { "data-answer": key }, MARK[mine.states.found] ?? ""), mine.why ? el("span", {}, mine.why) : "");
    if (mine.found && mine.field.quantity !== "class") parts.push(el("button", { type: "button", tabindex: -1, "data-left": key, onclick: () => { mine.moment = mine.moment === "found" ? "left" : "found"; draw(key); line.querySelector("input").focus(); } }, mine.moment === "found" ? "left as…" : "found…"));
    answer.replaceChildren(...parts.filter(Boolean));
  };
  const onward = input => {
    const every = [...document.querySelectorAll("#rows input[data-value]")], at = every.indexOf(input);
    const next = every.slice(at + 1).find(one => !one.value);
    if (next) { next.focus(); next.closest(".r").scrollIntoView({ block: "nearest" }); } else document.querySelector(`#outcomes [data-outcome="${outcome || "pass"}"]`).focus();
  };

  // ---- outcome, send back, next
  const outcomes = () => {
    const place = document.getElementById("outcomes"); if (!place) return;
    place.hidden = !!back && outcome === "send back";
    const held = place.contains(document.activeElement) ? document.activeElement.dataset.outcome : null;
    place.replaceChildren(...Object.entries(OUTCOME).map(([key, word]) => el("button", { type: "button", "data-outcome": key, "aria-pressed": String(outcome === key), disabled: !card || !card.model,
      onclick: () => pick(key), onkeydown: event => { if (event.key === "Enter" && outcome === key && key !== "send back") { event.preventDefault(); keep(); } } }, word, key === "fixed" && outcome === "fixed" ? el("small", {}, "found outside, left inside") : "")));
    if (held) place.querySelector(`[data-outcome="${held}"]`).focus();
    const next = document.getElementById("next"); if (next) next.disabled = !card || !outcome;
  };
  const pick = key => { outcome = outcome === key ? "" : key; outcomes(); footer(); if (key === "send back" && outcome) sendBack(); };
  const sendBack = () => {
    back = back || { faults: [], at: [], to: "" };
    const rows = document.getElementById("rows");
    const draw = () => {
      const often = fault_words ? fault_words.faults : [];
      const chip = one => el("button", { type: "button", "data-fault": one.key, "aria-pressed": String(back.faults.includes(one.key)), onclick: () => {
        back.faults = back.faults.includes(one.key) ? back.faults.filter(each => each !== one.key) : [...back.faults, one.key];
        if (back.faults.length && !back.chosen) back.to = (often.find(each => each.key === back.faults[0]) || {}).suspect || ""; draw(); } }, one.key);
      const strings = card.strings || 6;
      const neck = Array.from({ length: strings }, (_, s) => el("div", {}, el("span", {}, `${s + 1}${s === 0 ? " treble" : s === strings - 1 ? " bass" : ""}`), ...Array.from({ length: 16 }, (_, f) => {
        const word = f ? `${s + 1} fret ${f}` : `${s + 1} open`;
        return el("button", { type: "button", "aria-label": `string ${s + 1}, ${f ? `fret ${f}` : "open"}`, "data-at": word, "aria-pressed": String(back.at.includes(word)), onclick: () => { back.at = back.at.includes(word) ? back.at.filter(each => each !== word) : [...back.at, word]; draw(); } }, back.at.includes(word) ? "here" : ""); })));
      const stages = card.route.filter(one => !one.here).slice(0, card.route.findIndex(one => one.here)).concat([{ key: "supplier", name: "supplier" }, { key: "unknown", name: "cannot be known" }]);
      rows.replaceChildren(el("div", { class: "back" },
        el("h2", {}, "What is wrong?", el("small", {}, "the faults most often caught here first; several may be chosen")), el("div", { class: "chips" }, ...often.slice(0, back.all ? 999 : (fault_words || {}).often).map(chip), back.all || often.length <= (fault_words || {}).often ? "" : el("button", { type: "button", onclick: () => { back.all = true; draw(); } }, "another fault…"), el("button", { type: "button", "data-fault": "", "aria-pressed": String(!!back.unsaid), onclick: () => { back.unsaid = !back.unsaid; draw(); } }, "cannot say")),
        el("h2", {}, "Where?", el("small", {}, "tap string and fret")), el("div", { class: "neck" }, el("div", {}, el("span"), ...["open", ...Array.from({ length: 15 }, (_, k) => k + 1)].map(one => el("span", {}, String(one)))), ...neck),
        el("h2", {}, "To which bench?", el("small", {}, "ticked by the fault's first suspect; not a finding until someone there confirms it")), el("div", { class: "chips" }, ...stages.map(one => el("button", { type: "button", "data-to": one.key, "aria-pressed": String(back.to === one.key), onclick: () => { back.to = back.to === one.key ? "" : one.key; back.chosen = true; draw(); } }, one.name))),
        el("p", {}, el("button", { type: "button", id: "leave-it", onclick: () => { outcome = ""; back = null; const held = values; show(); values = held; for (const key of Object.keys(values)) draw_(key); outcomes(); } }, "Leave it: back to the readings"))));
      const what = back.faults.length ? back.faults.join("; ") : back.unsaid ? "no fault named" : "";
      say(what ? `${what}${back.at.length ? `, ${back.at.join(", ")}` : ""}${back.to ? `, to ${(stages.find(one => one.key === back.to) || {}).name}` : ""}.` : "Choose what is wrong, or cannot say.");
      footer();
    };
    draw(); outcomes();
  };
  const draw_ = key => draw(key);
  const ready = () => outcome && (outcome !== "send back" || (back && (back.faults.length || back.unsaid)));
  const keep = async () => {
    if (!card || !ready()) return false;
    const gauge = [...new Set(Object.values(values).filter(one => one.found && one.field.gauges.length > 1).map(one => one.gauge))];
    const one = { card: card.id, bench: bench.bench, stage: bench.stage, tech: bench.tech, serial: card.serial, model: card.model, opened_at: card.opened_at, outcome, gauge: gauge.length === 1 ? gauge[0] : "",
      faults: back ? back.faults : [], fault_at: back ? back.at.join(" ") : "", sent_to: back ? back.to : "",
      values: Object.values(values).filter(each => each.found || each.left).map(each => ({ characteristic: each.field.characteristic, position: each.field.position, gauge: each.gauge, found: each.found, left: each.left })) };
    one.kept_here = Date.now(); one.opened_here = card.opened_at ? null : card.opened_here;
    let what = `Kept: ${one.serial}, ${DONE[outcome]}.`;
    try { await hold(one); } catch (full) { say("This tablet cannot keep it: its store is full or shut. The card stays open.", true); return false; }
    net();
    try { if (sending) await sending.catch(() => 0); if (unsent().some(each => each.card === one.card)) await send(); }
    catch (fault) {
      if (fault.told && !unsent().some(each => each.card === one.card)) { fails(fault); net(); return false; }
      what = `Kept on this tablet: ${one.serial}, ${DONE[outcome]}. ${fault.signed_out ? fault.message : "It is sent when the machine answers."}`;
    }
    card = null; values = {}; outcome = ""; back = null; frame(); say(what); net(); focusSerial(); return true;
  };
  const undo = async () => {
    if (!today || !today.last) return;
    try {
      const told = await ask("undo", { bench: bench.bench, card: today.last.card }); today = told.today;
      const was = told.row; card = null; await open(was.serial, was.model);
      for (const [key, mine] of Object.entries(values)) { for (const moment of ["found", "left"]) { const cell = was[`${key}${moment === "left" ? " left" : ""}`]; if (cell) { mine.moment = moment; mine[moment] = cell; await judge(key); } } mine.moment = "found"; draw(key); }
      outcome = was.outcome === "send back" ? "" : was.outcome; outcomes(); footer(); say(`Taken back: ${was.serial}. Both stand in the shop's folder.`);
    } catch (fault) { fails(fault); }
  };
  const footer = () => {
    const place = document.getElementById("foot"); if (!place) return;
    const n = today ? today.cards : 0, o = today ? today.outcomes : {};
    const counted = ["pass", "fixed", "send back", "hold"].filter(key => o[key]).map(key => `${o[key]} ${DONE[key]}`).join(", ");
    place.replaceChildren(el("p", { id: "today" }, `Today at this bench: ${n} ${n === 1 ? "card" : "cards"}${counted ? `; ${counted}` : ""}.`),
      today && today.last ? el("button", { type: "button", class: "undo", id: "undo", onclick: undo }, el("b", {}, "Undo the last"), `${today.last.serial}, ${DONE[today.last.outcome]}`) : "",
      el("button", { type: "button", class: "next", id: "next", disabled: !ready(), onclick: keep }, outcome === "send back" ? "Send it back" : "Next"));
  };

  // ---- a scanner or a wired gauge: keys that come faster than fingers and end with Enter
  // A key that came late, or one read late, still belongs to what is typed in the field of the serial.
  const LATE = 1000;  // ms
  let burst = [], before = null, pressed_at = -Infinity, joined = false;
  document.addEventListener("keydown", event => {
    const now = event.timeStamp, active = document.activeElement, typing = active && ["INPUT", "SELECT"].includes(active.tagName);
    if (event.altKey && event.key.toLowerCase() === "z") { event.preventDefault(); return undo(); }
    if (event.key.length === 1 && !event.ctrlKey && !event.metaKey && !event.altKey) {
      if (!burst.length || now - burst[burst.length - 1].at > BURST) { burst = []; before = typing ? { field: active, value: active.value } : null; joined = typing && active.id === "serial" && active.value !== "" && now - pressed_at < LATE; }
      burst.push({ key: event.key, at: now }); pressed_at = now;
      if (!typing && card) { const letter = { p: "pass", r: "fixed", b: "send back", h: "hold" }[event.key.toLowerCase()]; if (letter) { const pressed = burst; setTimeout(() => { if (pressed === burst && burst.length === 1) pick(letter); }, BURST + 5); } }
      return;
    }
    if (event.key !== "Enter") { if (event.key !== "Shift") burst = []; return; }
    const text = burst.map(one => one.key).join(""), quick = burst.length >= 4 && now - burst[burst.length - 1].at <= BURST * 3;
    burst = []; pressed_at = -Infinity;
    const serial = /[A-Za-z]/.test(text) && /[0-9]/.test(text) && /^[A-Za-z0-9-]+$/.test(text) || /^[0-9]{5,}$/.test(text);
    if (quick && serial && !joined && bench && document.getElementById("serial")) {
      event.preventDefault(); event.stopPropagation();
      if (before && before.field.id !== "serial") { before.field.value = before.value; before.field.dispatchEvent(new Event("input")); }
      document.getElementById("serial").value = text; open(text);
    } else if (quick && !typing) { event.preventDefault(); }  // a burst never presses a button
  }, true);

  if (navigator.wakeLock) document.addEventListener("click", () => navigator.wakeLock.request("screen").catch(() => 0), { once: true });
  kept_here().catch(() => 0).then(() => bench ? begin() : choose()).catch(fails);
})();
