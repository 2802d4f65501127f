// Cards not yet answered: on the tablet's disk first (waiting.js), sent until they are answered, one at a time.
import { ask, byId, now, plural } from "./parts.js";

export const { ready, waiting: unsent, hold, remember, recall } = window.truerun_card;
const { drop, timed } = window.truerun_card;
const EVERY = 5000; // ms

let sending = null, clockOff = 0;

const sendAll = async () => {
  for (const one of [...unsent()]) {
    try {
      const told = await ask("keep", timed({ ...one, waits: unsent().length - 1 }));
      await drop(one.card);
      clockOff = told.clock_off || 0;
      if (now.bench && one.bench === now.bench.bench) now.today = told.today;
    } catch (fault) {
      if (fault.told) { await remember(`refused ${one.card}`, one); await drop(one.card); }
      throw fault;
    }
  }
};

export const send = () => {
  sending = sending || sendAll().finally(() => { sending = null; net(); });
  return sending;
};

// One card has been answered, whoever was sending.
export const sent = async card => {
  if (sending) await sending.catch(() => 0);
  if (unsent().some(one => one.card === card)) await send();
};

export const net = () => {
  const here = byId("net"), n = unsent().length, minutes = Math.round(Math.abs(clockOff) / 60);
  const kept = n ? `Not sent yet: ${plural(n, "card")} kept here` : "All cards kept";
  const clock = minutes ? `; this tablet's clock is ${minutes} min ${clockOff > 0 ? "ahead" : "behind"}` : "";
  if (here) here.textContent = `${kept}${clock}`;
};

export const keepSending = then => {
  const again = () => { if (unsent().length && !sending) send().then(then).catch(() => 0); };
  setInterval(again, EVERY);
  window.addEventListener("online", again);
};
