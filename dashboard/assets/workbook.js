// The tables of a sheet as a workbook, made in the browser: a tab a table, a number as the number that is shown, with its
// decimals and its unit as the cell's format; all else as text, so that nothing of a log runs as a formula.
(() => {
  const xml = (text) => text.replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f]/g, "").replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;").replace(/"/g, "&quot;");
  const HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n';
  const MAIN = 'xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"';
  const RELS = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
  const NUMBER = /^([+\-\u2212]?)(\d{1,3}(?:,\d{3})+|\d+)(?:\.(\d+))?(?:[\s\u00a0]?(%|\/64[\s\u00a0]in|[A-Za-z\u00b5\u00b0/]{1,8}))?$/;

  // The value and the format of a cell: { value, format } of a number, { text } of all else. A whole number with leading
  // zeros is a name, not a number.
  const read = (text) => {
    const found = NUMBER.exec(text);
    if (!found || (found[2].length > 1 && found[2].startsWith("0")) || found[2].replace(/,/g, "").length > 15) return { text };
    const sign = found[1] === "\u2212" || found[1] === "-" ? -1 : 1, decimals = (found[3] || "").length;
    const plain = (found[2].includes(",") ? "#,##0" : "0") + (decimals ? "." + "0".repeat(decimals) : "") + (found[4] ? `"${found[4].startsWith("/64") ? "" : " "}${found[4]}"` : "");
    return { value: sign * Number(found[2].replace(/,/g, "") + (found[3] ? "." + found[3] : "")), format: found[1] === "+" ? `+${plain};-${plain}` : plain };
  };
  const words = (td) => window.truerun_saving.words(td);
  const column = (k) => (k >= 26 ? column(Math.floor(k / 26) - 1) : "") + String.fromCharCode(65 + (k % 26));

  const tab = (table, style) => {
    const rows = [...table.rows].map((row, r) => {
      const cells = [...row.cells].map((td, c) => {
        const told = read(words(td)), at = `r="${column(c)}${r + 1}"`;
        if (td.tagName === "TH" || told.format === undefined) return `<c ${at} t="inlineStr"${td.tagName === "TH" ? ' s="1"' : ""}><is><t xml:space="preserve">${xml(words(td))}</t></is></c>`;
        return `<c ${at} s="${style(told.format)}"><v>${told.value}</v></c>`;
      });
      return `<row r="${r + 1}">${cells.join("")}</row>`;
    });
    const wide = [...Array(Math.max(0, ...[...table.rows].map((row) => row.cells.length))).keys()].map((c) =>
      Math.min(40, Math.max(...[...table.rows].slice(0, 200).map((row) => (row.cells[c] ? words(row.cells[c]).length : 0)))) + 2);
    const columns = wide.map((w, c) => `<col min="${c + 1}" max="${c + 1}" width="${w}" customWidth="1"/>`).join("");
    const fixed = '<sheetViews><sheetView workbookViewId="0"><pane ySplit="1" topLeftCell="A2" activePane="bottomLeft" state="frozen"/></sheetView></sheetViews>';
    return `${HEAD}<worksheet ${MAIN}>${fixed}${columns ? `<cols>${columns}</cols>` : ""}<sheetData>${rows.join("")}</sheetData></worksheet>`;
  };

  const styles = (formats) => {
    const own = formats.map((format, k) => `<numFmt numFmtId="${164 + k}" formatCode="${xml(format)}"/>`).join("");
    const uses = formats.map((_, k) => `<xf numFmtId="${164 + k}" fontId="0" fillId="0" borderId="0" xfId="0" applyNumberFormat="1"/>`).join("");
    return `${HEAD}<styleSheet ${MAIN}>${own ? `<numFmts count="${formats.length}">${own}</numFmts>` : ""}` +
      '<fonts count="2"><font><sz val="11"/><name val="Calibri"/></font><font><b/><sz val="11"/><name val="Calibri"/></font></fonts>' +
      '<fills count="2"><fill><patternFill patternType="none"/></fill><fill><patternFill patternType="gray125"/></fill></fills>' +
      '<borders count="1"><border><left/><right/><top/><bottom/><diagonal/></border></borders>' +
      '<cellStyleXfs count="1"><xf numFmtId="0" fontId="0" fillId="0" borderId="0"/></cellStyleXfs>' +
      `<cellXfs count="${formats.length + 2}"><xf numFmtId="0" fontId="0" fillId="0" borderId="0" xfId="0"/>` +
      `<xf numFmtId="0" fontId="1" fillId="0" borderId="0" xfId="0" applyFont="1"/>${uses}</cellXfs></styleSheet>`;
  };

  // A zip of texts, not compressed: what a workbook is. (PKWARE APPNOTE 6.3, sections 4.3 and 4.4.)
  const TABLE = Uint32Array.from({ length: 256 }, (_, n) => { for (let k = 0; k < 8; k++) n = n & 1 ? (n >>> 1) ^ 0xedb88320 : n >>> 1; return n >>> 0; });
  const crc = (bytes) => { let c = 0xffffffff; for (const byte of bytes) c = TABLE[(c ^ byte) & 255] ^ (c >>> 8); return (c ^ 0xffffffff) >>> 0; };
  const zip = (files) => {
    const parts = [], central = [];
    let offset = 0;
    for (const [name, text] of files) {
      const path = new TextEncoder().encode(name), body = new TextEncoder().encode(text);
      const head = new DataView(new ArrayBuffer(30)), entry = new DataView(new ArrayBuffer(46)), sum = crc(body);
      head.setUint32(0, 0x04034b50, true); entry.setUint32(0, 0x02014b50, true); entry.setUint16(4, 20, true);
      for (const [view, at] of [[head, 4], [entry, 6]]) {
        view.setUint16(at, 20, true); view.setUint16(at + 2, 0x0800, true); view.setUint16(at + 8, 33, true);  // UTF-8 names; 1 Jan 1980
        view.setUint32(at + 10, sum, true); view.setUint32(at + 14, body.length, true); view.setUint32(at + 18, body.length, true); view.setUint16(at + 22, path.length, true);
      }
      entry.setUint32(42, offset, true);
      parts.push(head.buffer, path, body); central.push(entry.buffer, path);
      offset += 30 + path.length + body.length;
    }
    const size = central.reduce((sum, part) => sum + part.byteLength, 0), end = new DataView(new ArrayBuffer(22));
    end.setUint32(0, 0x06054b50, true); end.setUint16(8, files.length, true); end.setUint16(10, files.length, true);
    end.setUint32(12, size, true); end.setUint32(16, offset, true);
    return new Blob([...parts, ...central, end.buffer], { type: "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet" });
  };

  window.truerun_workbook = (tables, name) => {
    const formats = [], style = (format) => { if (!formats.includes(format)) formats.push(format); return formats.indexOf(format) + 2; };
    const tabs = tables.map((table) => tab(table, style)), title = name.slice(0, 24).replace(/[[\]:*?/\\]/g, " ") || "table";
    const each = (make) => tabs.map((_, k) => make(k + 1)).join("");
    return zip([
      ["[Content_Types].xml", `${HEAD}<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/><Override PartName="/xl/styles.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.styles+xml"/>${each((k) => `<Override PartName="/xl/worksheets/sheet${k}.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/>`)}</Types>`],
      ["_rels/.rels", `${HEAD}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Id="rId1" Type="${RELS}/officeDocument" Target="xl/workbook.xml"/></Relationships>`],
      ["xl/workbook.xml", `${HEAD}<workbook ${MAIN} xmlns:r="${RELS}"><sheets>${each((k) => `<sheet name="${xml(tabs.length > 1 ? `${title} ${k}` : title)}" sheetId="${k}" r:id="rId${k}"/>`)}</sheets></workbook>`],
      ["xl/_rels/workbook.xml.rels", `${HEAD}<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">${each((k) => `<Relationship Id="rId${k}" Type="${RELS}/worksheet" Target="worksheets/sheet${k}.xml"/>`)}<Relationship Id="rId${tabs.length + 1}" Type="${RELS}/styles" Target="styles.xml"/></Relationships>`],
      ["xl/styles.xml", styles(formats)],
      ...tabs.map((text, k) => [`xl/worksheets/sheet${k + 1}.xml`, text]),
    ]);
  };
})();
