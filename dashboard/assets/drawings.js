// Charts of the server: the width that fits, what the pointer is told, the arrow keys, and each as a file.
window.dash_clientside = window.dash_clientside || {};
(() => {
  // Pages turn into one column at 760 px; charts are drawn narrow up to 1160, where their words no longer fit side by side; on
  // paper they are the wide ones, which print.css makes room for.
  const wide = window.matchMedia("(min-width: 1161px), print");

  // The component that dashboard/drawings.py names: SVG in place, no state but the width.
  const Drawing = (props) => {
    const [isWide, tell] = window.React.useState(wide.matches);
    window.React.useEffect(() => {
      const heard = () => tell(wide.matches);
      wide.addEventListener("change", heard);
      return () => wide.removeEventListener("change", heard);
    }, []);
    return window.React.createElement("div", { className: "drawing", "data-said": props.said, dangerouslySetInnerHTML: { __html: isWide ? props.wide : props.narrow } });
  };
  // What stands still on a page (dashboard/still.py): one element, its inside as the server wrote it.
  const Still = ({ tag, told, inside }) => window.React.createElement(tag, { ...told, dangerouslySetInnerHTML: { __html: inside } });
  // What stands still round what moves: plain elements, with places for the components among them.
  const Round = ({ tree, children }) => {
    const moves = [].concat(children);  // of one alone React makes no list
    const made = (one) => (typeof one === "string" ? one : typeof one === "number" ? moves[one] : one.tag ? Still(one)
      : window.React.createElement(one[0], one[1], ...one.slice(2).map(made)));
    return made(tree);
  };
  window.truerun_parts = Object.assign(window.truerun_parts || {}, { Drawing, Still, Round });

  // A link inside a drawing opens as every link of the frame does: without loading the page anew.
  document.addEventListener("click", (event) => {
    const link = event.target.closest && event.target.closest(".drawn a, a.stay, a[data-go]");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
    event.preventDefault();
    open(link.getAttribute("href"));
    if (link.dataset.go !== undefined) window.scrollTo(0, 0);
    const to = link.getAttribute("href").split("#")[1];
    if (to) arrive(to, 60);
  }, true);
  // What a link's # names is gone to once it is laid out.
  const arrive = (id, tries) => {
    const at = document.getElementById(id);
    if (at) at.scrollIntoView();
    else if (tries) setTimeout(() => arrive(id, tries - 1), 50);
  };
  const open = (href) => {
    window.history.pushState({}, "", href);
    window.dispatchEvent(new CustomEvent("_dashprivate_pushstate"));
  };

  // What is told of the mark under the pointer, or of the one the arrow keys stand on.
  let tip = null, spoken = null;
  const said = (drawn, mark) => {
    tip = tip || Object.assign(document.body.appendChild(document.createElement("div")), { className: "tip" });
    tip.setAttribute("aria-hidden", "true");
    if (!mark) { tip.hidden = true; return; }
    const box = drawn.querySelector("svg").getBoundingClientRect(), x = box.left + box.width * mark[0], y = box.top + mark[1];
    tip.textContent = mark[3];
    tip.hidden = false;
    const left = Math.min(Math.max(x - tip.offsetWidth / 2, 8), document.documentElement.clientWidth - tip.offsetWidth - 8);
    tip.style.left = `${left + window.scrollX}px`;
    tip.style.top = `${y - tip.offsetHeight - 12 + window.scrollY}px`;
  };
  // Where marks stand is told in each width, what is said of them once for both.
  const told = (drawn) => {
    if (drawn.marks) return drawn.marks;
    const around = drawn.closest("[data-said]"), said = around ? JSON.parse(around.dataset.said) : [];
    return (drawn.marks = JSON.parse(drawn.dataset.told).map((mark) => (typeof mark[3] === "number" ? [...mark.slice(0, 3), ...said[mark[3]]] : mark)));
  };
  const near = (drawn, event) => {
    const box = drawn.querySelector("svg").getBoundingClientRect();
    const away = (mark) => Math.hypot(box.left + box.width * mark[0] - event.clientX, box.top + mark[1] - event.clientY) - mark[2];
    const found = told(drawn).reduce((best, mark) => (away(mark) < away(best) ? mark : best));
    return away(found) <= 8 ? found : null;
  };
  document.addEventListener("pointermove", (event) => {
    const drawn = event.target.closest && event.target.closest(".drawn[data-told]");
    const mark = drawn && near(drawn, event);
    if (drawn) drawn.classList.toggle("leads", Boolean(mark && mark[4]));
    if (drawn || (tip && !tip.hidden)) said(drawn, mark);
  });
  document.addEventListener("click", (event) => {
    const drawn = event.target.closest && event.target.closest(".drawn[data-told]");
    const mark = drawn && !event.target.closest("a") && near(drawn, event);
    if (mark && mark[4]) open(mark[4]);
  });
  document.addEventListener("keydown", (event) => {
    const chart = event.target.classList && event.target.classList.contains("chart") && event.target, drawn = chart && chart.querySelector("[data-walk]");
    if (!drawn) return;
    const marks = [...told(drawn)].sort((a, b) => a[0] - b[0]), step = { ArrowRight: 1, ArrowLeft: -1, PageDown: 10, PageUp: -10, Home: -1e9, End: 1e9 }[event.key];
    if (step) {
      event.preventDefault();
      drawn.at = Math.min(Math.max((drawn.at ?? (step < 0 ? marks.length : -1)) + step, 0), marks.length - 1);
      said(drawn, marks[drawn.at]);
      spoken = spoken || Object.assign(document.body.appendChild(document.createElement("div")), { className: "spoken" });
      spoken.setAttribute("role", "status");
      spoken.textContent = marks[drawn.at][3];
    } else if (event.key === "Enter" && drawn.at !== undefined && marks[drawn.at][4]) open(marks[drawn.at][4]);
    else if (event.key === "Escape") said(drawn, null);
  });
  document.addEventListener("focusout", () => tip && (tip.hidden = true));
  window.addEventListener("_dashprivate_pushstate", () => tip && (tip.hidden = true));

  // A chart as a file of its own: colours of the scheme shown, our font inside.
  const RULES = "path{vector-effect:non-scaling-stroke}.halo{paint-order:stroke;stroke-linejoin:round}.led circle{fill:transparent}text{font-variant-numeric:tabular-nums}";
  const font = async () => {
    const held = await (await fetch(document.querySelector("link[as=font]").href)).blob();
    return new Promise((done) => { const reader = new FileReader(); reader.onload = () => done(reader.result); reader.readAsDataURL(held); });
  };
  // The lines above a picture, broken where they are too long for it.
  const above = (lines, width) => {
    const pen = document.createElement("canvas").getContext("2d"), made = [];
    lines.forEach((line, place) => {
      const bold = place === 0, size = bold ? 16 : 12;
      pen.font = `${bold ? 650 : 400} ${size}px "Atkinson Hyperlegible Next", sans-serif`;
      let held = "";
      for (const word of line.split(" ")) {
        if (held && pen.measureText(`${held} ${word}`).width > width - 16) { made.push([held, bold, size]); held = word; } else held = held ? `${held} ${word}` : word;
      }
      made.push([held, bold, size]);
    });
    let y = 0;
    const safe = (text) => text.replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
    const text = made.map(([words, bold, size]) => { y += size + 6; return `<text x="8" y="${y}" font-size="${size}" font-weight="${bold ? 650 : 400}" fill="var(--${bold ? "ink" : "ink2"})">${safe(words)}</text>`; });
    return { text: text.join(""), height: made.length ? y + 12 : 0 };
  };
  const file = async (drawn, lines) => {
    const size = drawn.getBoundingClientRect(), inner = drawn.querySelector("svg"), box = inner.getBoundingClientRect(), copy = inner.cloneNode(true);
    const head = above(lines, size.width), height = size.height + head.height;
    for (const [name, value] of Object.entries({ x: box.left - size.left, y: box.top - size.top + head.height, width: box.width, height: box.height })) copy.setAttribute(name, value);
    const hatch = document.getElementById("hatch").outerHTML, family = '"Atkinson Hyperlegible Next"', style = getComputedStyle(document.documentElement);
    const svg = `<svg xmlns="http://www.w3.org/2000/svg" width="${size.width}" height="${height}" font-family='${family}, sans-serif'>` +
      `<style>@font-face{font-family:${family};src:url(${await font()});font-weight:200 800}${RULES}</style><defs>${hatch}</defs>` +
      `<rect width="100%" height="100%" fill="var(--card)"/>${head.text}${new XMLSerializer().serializeToString(copy)}</svg>`;
    return { svg: svg.replace(/var\(--(\w+)\)/g, (_, name) => style.getPropertyValue(`--${name}`).trim()), width: size.width, height };
  };
  const keep = (blob, name) => {
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(blob), download: name });
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
  };
  const painted = async ({ svg, width, height }) => {
    const image = new Image(), canvas = document.createElement("canvas");
    image.src = URL.createObjectURL(new Blob([svg], { type: "image/svg+xml" }));
    await image.decode();
    Object.assign(canvas, { width: 2 * width, height: 2 * height });
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    return new Promise((done) => canvas.toBlob(done, "image/png"));
  };
  window.truerun_files = async (sheet, name, form) => {
    const all = [...sheet.querySelectorAll(".drawn")].filter((drawn) => drawn.getClientRects().length);
    for (const [place, drawn] of all.entries()) {
      const made = await file(drawn, window.truerun_saving.about(sheet)), blob = form === "png" ? await painted(made) : new Blob([made.svg], { type: "image/svg+xml" });
      keep(blob, `${name}${place ? `-${place + 1}` : ""}.${form}`);
    }
  };
})();
