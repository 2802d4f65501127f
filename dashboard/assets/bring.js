// Files too large to be dropped in one: on Logs they come in pieces, elsewhere the line below the place says what to type.
(() => {
  const PIECE = 4e6, TRIES = 6;
  const megabytes = (bytes) => Math.ceil(bytes / 1e6).toLocaleString("en");
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));
  const newKey = () => [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  const ask = async (key, query, body, method) => {
    const answer = await fetch(`/bring/${key}?${new URLSearchParams(query)}`, { method: method || "POST", body });
    if (answer.ok) return (await answer.json()).have;
    const said = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("main p");
    const problem = new Error((said && said.textContent) || "it was refused");
    problem.refused = answer.status < 500;
    throw problem;
  };
  const line = (place, text, cancel) => {
    const said = place.querySelector(".too-large");
    said.replaceChildren(text);
    if (cancel) {
      const button = document.createElement("button");
      button.type = "button"; button.className = "as-link"; button.textContent = "Stop";
      button.addEventListener("click", cancel);
      said.append(" ", button);
    }
    said.hidden = !text;
  };

  const bring = async (place, file) => {
    const key = newKey(), size = file.size;
    let stopped = false, have = 0, tries = 0;
    const stop = () => { stopped = true; };
    while (have < size && !stopped) {
      line(place, `${file.name}: ${megabytes(have)} of ${megabytes(size)} MB brought.`, stop);
      try {
        have = await ask(key, { at: have, size }, file.slice(have, have + PIECE));
        tries = 0;
      } catch (problem) {
        tries += 1;
        if (problem.refused || tries > TRIES) {
          ask(key, { size }, undefined, "DELETE").catch(() => 0);
          line(place, `${file.name} could not be brought (${problem.message}); nothing was changed. At the command line: truerun load ${file.name}`);
          return;
        }
        await wait(500 * 2 ** tries);
        have = await ask(key, { at: 0, size }).catch(() => have);
      }
    }
    if (stopped) {
      await ask(key, { size }, undefined, "DELETE").catch(() => 0);
      line(place, `${file.name}: stopped; nothing was changed.`);
      return;
    }
    try {
      await ask(key, { at: size, size, load: 1, name: file.name });
      line(place, "");
      window.dash_clientside.set_props(place.dataset.tick, { disabled: false });
    } catch (problem) {
      line(place, `${file.name} could not be loaded (${problem.message}); nothing was changed.`);
    }
  };

  const dropped = async (event) => {
    const place = event.target.closest && event.target.closest("[data-most]");
    const files = place ? [...((event.dataTransfer || event.target).files || [])] : [];
    if (!files.length) return;
    const pieces = Number(place.dataset.pieces), large = files.filter((file) => file.size > Number(place.dataset.most));
    const beyond = large.filter((file) => file.size > pieces);
    const many = large.filter((file) => file.size <= pieces);
    line(place, beyond.map((file) => `${file.name} is ${megabytes(file.size)} MB, more than a browser brings; it was not ` +
      `loaded. At the command line: truerun ${pieces ? "load" : "new"} ${file.name}`).join(" "));
    for (const file of many) await bring(place, file);
  };
  document.addEventListener("drop", dropped, true);
  document.addEventListener("change", dropped, true);
})();
