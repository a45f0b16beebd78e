"use strict";
// small things that only a browser knows or can do
window.dash_clientside = Object.assign({}, window.dash_clientside, {
  benchlog: {
    here: (path, search) => ({ path, search, zone: Intl.DateTimeFormat().resolvedOptions().timeZone }),
    title: (text) => {
      document.title = text === "benchlog" ? text : `${text} · benchlog`;
      return window.dash_clientside.no_update;
    },
  },
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-goto], [data-print]");
  if (!button) return;
  if (button.dataset.print) window.print();
  const target = button.dataset.goto && document.getElementById(button.dataset.goto);
  if (target) {
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    target.scrollIntoView({ behavior: still ? "auto" : "smooth", block: "start" });
    target.focus({ preventScroll: true });
  }
});

// Dash has no input for a day; the browser's own brings its calendar, and gives the same text
new MutationObserver(() => {
  for (const input of document.querySelectorAll(".day input[type=text]")) input.type = "date";
}).observe(document.documentElement, { childList: true, subtree: true });

// paper is narrower than most screens: draw again at the width of the printed column
(() => {
  const mm = 96 / 25.4;
  const plots = () => [...document.querySelectorAll(".plot .js-plotly-plot")];
  addEventListener("beforeprint", () => {
    for (const plot of plots()) {
      const wide = plot.closest("figure").classList.contains("wide");
      plot._onScreen = { height: plot.layout.height, size: plot.layout.font.size, margin: { ...plot.layout.margin } };
      window.Plotly.relayout(plot, {
        width: (wide ? 182 : 88) * mm, height: plot.layout.height * (wide ? 0.6 : 0.55), autosize: false,
        "font.size": 8,
      });
    }
  });
  addEventListener("afterprint", () => {
    for (const plot of plots()) {
      if (!plot._onScreen) continue;
      window.Plotly.relayout(plot, {
        width: null, height: plot._onScreen.height, autosize: true, "font.size": plot._onScreen.size,
      });
    }
  });
})();
