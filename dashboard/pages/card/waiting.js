// What Card keeps in the browser while the machine does not answer: cards that wait, and the last answers, in IndexedDB.
// A card stands on the tablet's disk before the page says so; its number makes it count once, however often it is sent.
"use strict";
(() => {
  const NAME = "truerun-card";
  const opened = new Promise((done, failed) => {
    const asked = indexedDB.open(NAME, 1);
    asked.onupgradeneeded = () => { asked.result.createObjectStore("cards", { keyPath: "card" }); asked.result.createObjectStore("answers"); };
    asked.onsuccess = () => done(asked.result);
    asked.onerror = () => failed(asked.error);
  });
  const within = async (store, mode, work) => {
    const base = await opened;
    return new Promise((done, failed) => {
      const turn = base.transaction(store, mode, { durability: "strict" }), asked = work(turn.objectStore(store));
      turn.oncomplete = () => done(asked.result);
      turn.onabort = turn.onerror = () => failed(turn.error);
    });
  };
  let cards = [];  // as they stand on the disk, in the order they were kept
  const read = async () => { cards = (await within("cards", "readonly", store => store.getAll())).sort((a, b) => a.kept_here - b.kept_here); };
  const whole = (async () => {
    for (const one of JSON.parse(localStorage.getItem("card-unsent") || "[]")) await within("cards", "readwrite", store => store.put({ kept_here: Date.now(), ...one }));  // of a version before
    localStorage.removeItem("card-unsent");
    await read();
    if (navigator.storage && navigator.storage.persist) navigator.storage.persist().catch(() => 0);
  })();
  window.truerun_card = {
    ready: () => whole,
    waiting: () => cards,
    hold: async one => { await within("cards", "readwrite", store => store.put(one)); await read(); },
    drop: async number => { await within("cards", "readwrite", store => store.delete(number)); await read(); },
    // How long ago a card was kept and how long it took, by this tablet's clock alone: a clock that is wrong moves none.
    timed: one => ({ ...one, waited: (Date.now() - one.kept_here) / 1000, took: one.opened_here ? (one.kept_here - one.opened_here) / 1000 : null, clock: Date.now() / 1000 }),
    remember: (key, answer) => within("answers", "readwrite", store => store.put(answer, key)).catch(() => 0),
    recall: key => within("answers", "readonly", store => store.get(key)),
  };
  // Over TLS the page opens while the network is dead.
  if (navigator.serviceWorker && window.isSecureContext) navigator.serviceWorker.register("/card/worker.js", { scope: "/card" }).catch(() => 0);
})();
