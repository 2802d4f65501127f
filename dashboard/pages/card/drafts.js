// The card that is open, on the tablet until it is kept or left: a page that was closed, or a tablet that stopped, opens
// it again. Each tab has its own; one whose tab is gone is taken up by the next.
import { fresh } from "./parts.js";

const KEY = "card-draft-", WAIT = 150; // ms in which a living tab answers
const me = fresh();
const channel = "BroadcastChannel" in window ? new BroadcastChannel("card-tabs") : null;
const alive = new Set();
let tab = sessionStorage.getItem("card-tab") || me;

if (channel) {
  channel.onmessage = ({ data }) => {
    if (data.from === me) return;
    if (data.ask) channel.postMessage({ from: me, here: tab });
    if (data.here) alive.add(data.here);
    if (data.kept) heard(data.kept);
  };
}

// told : what to do where another tab kept a card at a bench, or took one back
let heard = () => 0;
export const whenKept = told => { heard = told; };
export const tellKept = bench => { if (channel) channel.postMessage({ from: me, kept: bench }); };

export const save = draft => localStorage.setItem(KEY + tab, JSON.stringify(draft));
export const forget = () => localStorage.removeItem(KEY + tab);

const read = name => { try { return JSON.parse(localStorage.getItem(name)); } catch { return null; } };

// The draft of this tab, else one of this bench whose tab is gone; null where there is none.
export const found = async bench => {
  const names = Object.keys(localStorage).filter(name => name.startsWith(KEY));
  if (channel) {
    channel.postMessage({ from: me, ask: true });
    if (names.length || tab !== me) await new Promise(done => setTimeout(done, WAIT));
  }
  if (alive.has(tab)) tab = me; // this tab was made as a copy of another
  sessionStorage.setItem("card-tab", tab);
  const mine = name => {
    const draft = read(name);
    return draft && draft.bench === bench.bench && draft.stage === bench.stage ? draft : null;
  };
  const own = mine(KEY + tab);
  if (own) return own;
  const orphan = names.find(name => !alive.has(name.slice(KEY.length)) && mine(name));
  if (!orphan) return null;
  const draft = mine(orphan);
  localStorage.removeItem(orphan);
  save(draft);
  return draft;
};

// Is this instrument open with something typed in another living tab at this bench?
export const openBeside = async (serial, bench) => {
  const others = Object.keys(localStorage).filter(name => name.startsWith(KEY) && name !== KEY + tab);
  if (!channel || !others.length) return false;
  alive.clear();
  channel.postMessage({ from: me, ask: true });
  await new Promise(done => setTimeout(done, WAIT));
  return others.filter(name => alive.has(name.slice(KEY.length))).map(read)
    .some(draft => draft && draft.serial === serial && draft.bench === bench.bench && draft.stage === bench.stage);
};

// gone : what to do where another tab took this one's card up
export const whenTaken = gone =>
  window.addEventListener("storage", event => { if (event.key === KEY + tab && event.newValue === null) gone(); });
