// What every part of Card uses: elements, questions to the counter, the line that says what happened, words and marks.

export const MARK = {
  inside: "✓ inside", "on the limit": "‖ on the limit", outside: "✕ outside", kept: "kept", asks: "? is it real",
  unread: "? cannot be read", "": "",
};
export const OUTCOME = { pass: "Pass", fixed: "Put right here", "send back": "Send back to…", hold: "Hold" };
export const DONE = { pass: "passed", fixed: "put right", "send back": "sent back", hold: "on hold" };

// What is open on this tablet: one object, so that each part sees the same card.
export const now = {
  own: {}, // of whoever is signed in
  bench: null, // { stage, bench, tech, name }
  card: null, // what the counter answered of the open instrument, and the card's own id
  values: {}, // by "characteristic position": what was typed, and how it lies
  outcome: "",
  said: false, // the person pressed that outcome on this card, or Next
  agreed: "", // readings that lie outside and are kept as they are, as the person was shown them
  asked: false, // a question of the page stands in place of the rows
  opening: 0, // cards that are on their way
  back: null, // a send-back in the making: { faults, at, to }
  today: null, // the day's count and the last card
  faults: null, // words of this stage
  shapes: new Set(), // of the serials on file
};

export const byId = name => document.getElementById(name);

export const el = (tag, about = {}, ...inside) => {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(about)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...inside.filter(one => one !== null && one !== undefined && one !== ""));
  return made;
};

export const button = (about, ...inside) => el("button", { type: "button", ...about }, ...inside);

const PATIENCE = 15000; // ms

export const ask = async (door, given = {}) => {
  const answer = await fetch(`/card/${door}`, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(given),
    signal: AbortSignal.timeout ? AbortSignal.timeout(PATIENCE) : undefined,
  });
  const told = await answer.json().catch(() => ({}));
  if (answer.status === 401 || answer.status === 403) {
    const why = `${told.problem || "Sign in first."} What is kept here waits.`;
    throw Object.assign(new Error(why), { signed_out: true });
  }
  if (!answer.ok) throw Object.assign(new Error(told.problem || "That did not work."), { told: answer.status < 500 });
  return told;
};

// What was answered last serves while the machine does not answer.
export const askOrRecall = async (door, given = {}) => {
  const { remember, recall } = window.truerun_card, key = `${door} ${JSON.stringify(given)}`;
  try {
    const told = await ask(door, given);
    remember(key, told);
    return told;
  } catch (fault) {
    const before = fault.told || fault.signed_out ? undefined : await recall(key);
    if (before === undefined) throw fault;
    return before;
  }
};

export const say = (text, problem = false) => {
  const line = byId("line");
  if (line) { line.textContent = text; line.className = problem ? "line problem" : "line"; }
};

export const fails = fault =>
  say(fault.told || fault.signed_out ? fault.message : "The machine does not answer; nothing is lost, it is tried again.", true);

export const fresh = () =>
  crypto.randomUUID ? crypto.randomUUID() : `${Date.now()}-${Math.random().toString(16).slice(2)}`;

export const number = value => String(Math.round(value * 1e4) / 1e4);

export const plural = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;
