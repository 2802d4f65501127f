// What a reader takes along of a sheet: its tables as CSV, and the lines that a picture carries so that it can stand alone.
(() => {
  // A cell's words, without what repeats another column on a phone.
  const words = (td) => {
    if (!td.querySelector(".narrow-only")) return td.textContent.trim();
    const copy = td.cloneNode(true);
    for (const one of copy.querySelectorAll(".narrow-only")) one.remove();
    return copy.textContent.trim();
  };
  const AMOUNT = /^([+\-\u2212]?(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?)[\s\u00a0]?(%|\/64[\s\u00a0]in|[A-Za-z\u00b5\u00b0/]{1,8})$/;

  // As exports/written.py: a number is plain, and no formula of a log runs in a spreadsheet.
  const cell = (told) => {
    const text = told.replace(/(\d),(?=\d{3}\b)/g, "$1"), plain = text.replace(/\u2212/g, "-");
    const number = /^[+-]?(\d+(\.\d*)?|\.\d+)(e[+-]?\d+)?$/i.test(plain);
    const safe = number ? plain : /^[=+\-@\t\r\n]/.test(text) ? "'" + text : text;
    return /[",\n]/.test(safe) ? '"' + safe.replace(/"/g, '""') + '"' : safe;
  };
  // A column whose every figure has the same unit: the unit goes into its heading, the figures can be summed.
  const bare = (rows, heads) => {
    const wide = Math.max(0, ...rows.map((row) => row.length));
    for (let c = 0; heads && c < wide; c += 1) {
      const read = rows.slice(heads).map((row) => row[c] || "").filter((text) => !/^(no figure)?$/.test(text)).map((text) => AMOUNT.exec(text));
      if (!read.length || read.some((one) => !one || one[2] !== read[0][2])) continue;
      const unit = read[0][2].startsWith("/64") ? "64ths" : read[0][2];
      rows[heads - 1][c] = `${rows[heads - 1][c] || ""} (${unit})`.trim();
      for (const row of rows.slice(heads)) if (AMOUNT.test(row[c] || "")) row[c] = AMOUNT.exec(row[c])[1];
    }
    return rows;
  };
  const csv = (table) => bare([...table.rows].map((row) => [...row.cells].map(words)), table.tHead ? table.tHead.rows.length : 0)
    .map((row) => row.map(cell).join(",")).join("\r\n");

  // What a picture is of: the sheet and how it is read, the page with its filters, the shop and how late its logs are.
  const about = (sheet) => {
    const text = (selector, within = document) => { const one = within.querySelector(selector); return one ? one.textContent.trim() : ""; };
    const chosen = [...document.querySelectorAll(".filters .field")].map((field) => {
      const input = field.querySelector("input, select"), label = text("label", field);
      const value = !input ? "" : input.tagName === "SELECT" ? (input.selectedOptions[0] || {}).text : input.value;
      return input && input.offsetParent && value && !/^(all|everybody)\b/i.test(value) ? `${label}: ${value}` : "";
    });
    const page = text('.top nav a[aria-current="page"]') || document.title.split(" - ").slice(-2)[0];
    return [text("h2", sheet), text(".sheet-head .right", sheet), [page, ...chosen].filter(Boolean).join("; "),
      [text("#shop-name"), text("#shop-as-of")].filter(Boolean).join(", ")].filter(Boolean);
  };
  window.truerun_saving = { words, about, csv: (sheet) => [...sheet.querySelectorAll("table.plain")].map(csv).join("\r\n\r\n") + "\r\n" };
})();
