// The few things only the browser knows: how wide it is, which scheme it shows, which page is open.
window.dash_clientside = window.dash_clientside || {};
(() => {
  // Pages turn into one column at 760 px; charts are drawn narrow up to 1160, where their words would no longer fit side by side.
  const narrow = window.matchMedia("(max-width: 760px)"), middle = window.matchMedia("(max-width: 1160px)");
  const widthClass = () => (narrow.matches ? "narrow" : middle.matches ? "middle" : "wide");
  const tell = () => window.dash_clientside.set_props("width", { data: widthClass() });
  narrow.addEventListener("change", tell);
  middle.addEventListener("change", tell);

  const dark = () => document.documentElement.getAttribute("data-mantine-color-scheme") === "dark";
  const inScheme = (figure, twins) =>
    dark() ? JSON.parse(JSON.stringify(figure).replace(/#[0-9a-f]{6}(?=([0-9a-f]{2})?\b)/gi, (hex) => twins[hex.toLowerCase()] || hex)) : figure;

  window.dash_clientside.truerun = {
    width: () => widthClass(),
    // A figure comes as {wide, narrow}; the one that fits is drawn in the scheme's colours once the font is there.
    draw: async (figures, width, scheme, twins) => {
      if (!figures) return window.dash_clientside.no_update;
      await document.fonts.load('16px "Atkinson Hyperlegible Next"');
      const figure = figures.data ? figures : figures[(width || widthClass()) === "wide" ? "wide" : "narrow"] || figures.wide;
      const drawn = inScheme(figure, twins);
      drawn.layout = Object.assign({}, drawn.layout, { uirevision: null, datarevision: Date.now() });
      return drawn;
    },
    // Marks the open page in both lists, closes the phone's list and names the page there.
    present: (pathname, pages) => {
      let name = "Pages";
      document.querySelectorAll(".top nav a, .menu a").forEach((link) => {
        const here = link.getAttribute("href") === pathname;
        if (here) { link.setAttribute("aria-current", "page"); name = link.textContent; } else link.removeAttribute("aria-current");
      });
      const menu = document.getElementById("menu");
      if (menu) menu.open = false;
      return name;
    },
  };
})();
