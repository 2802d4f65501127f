// Cards not yet answered: written on the tablet first, sent until they are answered; a card's number makes it count once.
import { ask, byId, now, plural } from "./parts.js";

const KEY = "card-unsent", EVERY = 5000; // ms

export const unsent = () => JSON.parse(localStorage.getItem(KEY) || "[]");

export const hold = one =>
  localStorage.setItem(KEY, JSON.stringify([...unsent().filter(each => each.card !== one.card), one]));

export const drop = one =>
  localStorage.setItem(KEY, JSON.stringify(unsent().filter(each => each.card !== one)));

export const send = async () => {
  for (const one of unsent()) {
    try {
      const told = await ask("keep", one);
      drop(one.card);
      if (now.bench && one.bench === now.bench.bench) now.today = told.today;
    } catch (fault) {
      if (fault.told) { drop(one.card); localStorage.setItem("card-refused", JSON.stringify(one)); }
      throw fault;
    }
  }
};

export const net = () => {
  const here = byId("net"), n = unsent().length;
  if (here) here.textContent = n ? `≠ Not answered: ${plural(n, "card")} kept here` : "= all kept";
};

let sending = null;
export const keepSending = then => setInterval(() => {
  if (!unsent().length || sending || now.keeping) return;
  sending = send().then(then).catch(() => 0).finally(() => { sending = null; net(); });
}, EVERY);
