// The few things only the browser knows: which page is open, who writes, where the focus was.
window.dash_clientside = window.dash_clientside || {};
(() => {
  window.dash_clientside.truerun = {
    // Marks the open page in both lists, closes the phone's list and names the page there.
    present: (pathname, pages) => {
      let name = "Pages";
      document.querySelectorAll(".top nav a, .menu a").forEach((link) => {
        const here = link.getAttribute("href") === pathname;
        if (here) { link.setAttribute("aria-current", "page"); name = link.textContent; } else link.removeAttribute("aria-current");
      });
      const menu = document.getElementById("menu");
      if (menu) menu.open = false;
      const notice = document.getElementById("notice");
      if (notice && !notice.hidden) window.dash_clientside.set_props("notice", { hidden: true });  // of what was asked before
      return name;
    },
  };

  // Who writes is asked for once: the browser keeps the name by itself and fills it in wherever it is asked for.
  const WHO = 'input[autocomplete="name"]', KEPT = "truerun-who";
  const idOf = (field) => (field.id.startsWith("{") ? JSON.parse(field.id) : field.id);
  const remember = () => {
    const name = localStorage.getItem(KEPT);
    if (!name) return;
    document.querySelectorAll(WHO).forEach((field) => {
      if (field.dataset.told || field.value || !field.id) return;
      field.dataset.told = "1";
      window.dash_clientside.set_props(idOf(field), { value: name });
    });
  };
  document.addEventListener("change", (event) => {
    if (event.target.matches && event.target.matches(WHO) && event.target.value.trim()) localStorage.setItem(KEPT, event.target.value.trim());
  });
  // The clock of a first shop: this browser's time zone, where nobody has said another.
  const zone = () => {
    const field = document.querySelector('input[id*=\'"key":"timezone"\']'), here = Intl.DateTimeFormat().resolvedOptions().timeZone;
    if (!field || field.dataset.told || field.value !== "UTC" || !here) return;
    field.dataset.told = "1";
    window.dash_clientside.set_props(idOf(field), { value: here });
  };
  let soon = 0;
  new MutationObserver(() => { clearTimeout(soon); soon = setTimeout(() => { remember(); zone(); }, 150); }).observe(document, { childList: true, subtree: true });

  // A link to a row opens it, with its headline in sight and the cursor in its first empty line; a form that says what it
  // wants has the cursor there too, and the line is marked until something stands in it.
  document.addEventListener("click", (event) => {
    const link = event.target.closest && event.target.closest('a[href^="#matter-"]'), to = link && document.getElementById(link.hash.slice(1));
    if (!to) return;
    event.preventDefault();
    const row = to.closest("details");
    row.open = true;
    row.scrollIntoView();
    const line = [...to.querySelectorAll("input[type=text]")].find((one) => !one.value && !one.readOnly);
    if (line) line.focus({ preventScroll: true });
  });
  const wanting = ({ dataset, parentElement }) => {
    const form = parentElement.closest(".book-form, .sheet"), name = dataset.wants;
    const line = form && form.querySelector(name === "who" ? WHO : `input[type=text][id*='"name":"${name}"']`);
    if (!line) return;
    line.setAttribute("aria-invalid", "true");
    line.addEventListener("input", () => line.removeAttribute("aria-invalid"), { once: true });
    line.focus();
  };
  new MutationObserver((seen) => seen.forEach(({ addedNodes }) => addedNodes.forEach((one) => {
    if (one.dataset && one.dataset.wants) wanting(one);
  }))).observe(document, { childList: true, subtree: true });

  // The title names the finding, and so does a polite live region once it has changed.
  let finding = null;
  const tell_finding = () => {
    const head = document.querySelector("#main h1"), region = document.getElementById("finding-said");
    if (!head || !region) return;
    const link = document.querySelector('.top nav a[aria-current="page"]');
    const title = [head.textContent.replace(/\s+/g, " ").slice(0, 70), link && link.textContent, "Truerun"].filter(Boolean).join(" - ");
    if (document.title !== title) document.title = title;
    if (head.textContent === finding) return;
    if (finding !== null) region.textContent = head.textContent;
    finding = head.textContent;
  };
  new MutationObserver(() => setTimeout(tell_finding, 80)).observe(document, { childList: true, subtree: true });

  // What had the focus keeps it when a page is laid anew by a filter, a fold or a button of its own: same id, else, on the
  // same page, the same words.
  let held = null;
  const bare = (one) => one.textContent.replace(/\d+/g, "");
  document.addEventListener("focusin", ({ target }) => {
    const one = target.id ? target : target.closest("#main a, #main summary");
    held = one ? { id: one.id, tag: one.tagName, words: bare(one), path: location.pathname } : null;
  });
  document.addEventListener("pointerdown", (event) => { if (!event.target.closest("[id]")) held = null; });
  const refocus = () => {
    if (!held || (document.activeElement && document.activeElement !== document.body)) return;
    const same = held.id ? document.getElementById(held.id)
      : held.path === location.pathname && [...document.querySelectorAll(`#main ${held.tag}`)].find((one) => bare(one) === held.words);
    if (same) same.focus({ preventScroll: true });
  };
  // A table wider than its sheet scrolls: then the keyboard reaches it too, by the name of its sheet.
  const widths = new ResizeObserver((seen) => seen.forEach(({ target }) => {
    const scrolls = target.scrollWidth > target.clientWidth + 1, sheet = target.closest(".sheet, details"), name = sheet && sheet.querySelector("h2, summary");
    for (const [key, value] of [["tabindex", "0"], ["role", "region"], ["aria-label", `${name ? name.textContent.trim() : "Table"}, table`]])
      scrolls ? target.setAttribute(key, value) : target.removeAttribute(key);
  }));
  new MutationObserver(() => {
    document.querySelectorAll(".table-wrap:not([data-watched])").forEach((wrap) => { wrap.dataset.watched = "1"; widths.observe(wrap); });
    // The field behind a place to drop files on comes without a name.
    document.querySelectorAll("input[type=file]:not([aria-label])").forEach((field) => field.setAttribute("aria-label", "Choose a file"));
    refocus();
    if (held && !held.id) setTimeout(refocus, 60);  // words may come after what holds them
  }).observe(document.documentElement, { childList: true, subtree: true });

  // The key / leads into the header's field from anywhere that is no field itself.
  document.addEventListener("keydown", (event) => {
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey) return;
    const here = document.activeElement;
    if (here && (/^(INPUT|TEXTAREA|SELECT)$/.test(here.tagName) || here.isContentEditable)) return;
    const field = document.getElementById("find");
    if (!field || !field.offsetParent) return;
    event.preventDefault();
    field.focus();
    field.select();
  });

  // What stands in a sheet as files: each chart as SVG or PNG, all its tables as one CSV (saving.js) with the figures as shown.
  const named = (sheet) => sheet.querySelector("h2").textContent.trim().toLowerCase().replace(/[^\p{L}\p{N}]+/gu, "-").replace(/^-|-$/g, "");
  document.addEventListener("click", (event) => {
    const what = event.target.dataset && event.target.dataset.save, sheet = what && event.target.closest(".sheet");
    if (!sheet) return;
    if (what === "svg" || what === "png") {
      window.truerun_files(sheet, named(sheet), what);
      return;
    }
    const link = document.createElement("a");
    const made = what === "xlsx" ? window.truerun_workbook([...sheet.querySelectorAll("table.plain")], named(sheet)) : new Blob(["\ufeff" + window.truerun_saving.csv(sheet)], { type: "text/csv" });
    link.href = URL.createObjectURL(made);
    link.download = `${named(sheet)}.${what}`;
    link.click();
    URL.revokeObjectURL(link.href);
  });

  // A paper that opens beside the page takes a while: its button says so and is not pressed twice.
  document.addEventListener("submit", (event) => {
    const button = event.submitter;
    if (!button || event.target.target !== "_blank") return;
    const words = button.textContent;
    setTimeout(() => { button.disabled = true; button.textContent = "Being made..."; }, 0);
    const back = () => { button.disabled = false; button.textContent = words; };
    setTimeout(back, 15000);
    window.addEventListener("focus", back, { once: true });
  });

  // On the network: a session that has ended leads to where one signs in; what is closed to somebody says so; and what a
  // colleague wrote into the book is here within seconds, unless somebody is in the middle of writing.
  if (document.documentElement.dataset.signed) {
    const asked = window.fetch;
    window.fetch = async (...given) => {
      const answer = await asked(...given);
      const notice = document.getElementById("notice");
      if (answer.status === 401) location.assign("/sign-in?to=" + encodeURIComponent(location.pathname + location.search));
      else if (answer.status === 403 && notice) { notice.textContent = "This is not open to you; nothing was changed."; notice.hidden = false; }
      return answer;
    };
    const OF_BOOK = ["/", "/book", "/drift"];
    let sequence = null;
    setInterval(async () => {
      if (document.hidden || !OF_BOOK.includes(location.pathname)) { sequence = null; return; }
      const answer = await asked("/book/newest").catch(() => null);
      if (!answer || !answer.ok) return;
      const told = (await answer.json()).sequence, here = document.activeElement;
      const writing = [...document.querySelectorAll("#main input:not([readonly]), #main textarea")].some((field) => field === here || (field.value && field.value !== field.defaultValue && field.type !== "hidden"));
      if (sequence !== null && told > sequence) {
        const notice = document.getElementById("notice");
        if (writing && notice) { notice.textContent = "Somebody has written into the book meanwhile; what you write is kept beside it."; notice.hidden = false; }
        else location.reload();
      }
      sequence = told;
    }, 4000);
  }
})();
