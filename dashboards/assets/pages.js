"use strict";
// small things that only a browser knows or can do
const NO_ANSWER =
  "The server of these pages does not answer. Start benchlog page again, and open the address that it prints.";

function said(text) {
  const props = { children: text, className: "problem", role: "alert" };
  return { namespace: "dash_html_components", type: "P", props };
}

async function contentOf(answer) {
  if (answer.ok) return answer.json();
  return { title: "Not here", content: said(await answer.text()) };
}

window.dash_clientside = Object.assign({}, window.dash_clientside, {
  benchlog: {
    page: async (path, search) => {
      const first = window.benchlogAsked;
      // once: who comes back to a page wants to see it as it is by then
      window.benchlogAsked = null;
      const asked = first?.path === path && first.search === search ? first : window.benchlogAsk(path, search);
      const told = await asked.answer.then(contentOf).catch(() => ({ title: "No answer", content: said(NO_ANSWER) }));
      document.title = told.title === "benchlog" ? told.title : `${told.title} · benchlog`;
      return [{ path, search, zone: asked.zone }, told.menu ?? null, told.content];
    },
    // go to an element, once it is there
    focus: (id) => {
      setTimeout(() => document.getElementById(id)?.focus(), 150);
      return id;
    },
    confirm: (clicks, said, suggested) => (clicks && !said ? suggested : window.dash_clientside.no_update),
  },
});

document.addEventListener("click", (event) => {
  if (event.target.closest("#plan-confirm-all")) {
    for (const one of document.querySelectorAll('button[id*=\'"part":"confirm"\']')) one.click();
    for (const one of document.querySelectorAll("select[data-confirms]"))
      if (!one.value) {
        one.value = one.dataset.confirms;
        one.dispatchEvent(new Event("change", { bubbles: true }));
      }
  }
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

// the server's still drawing gives way, once the page is there to the figure's box, once it is drawn to the figure
(() => {
  const first = document.getElementById("first-look");
  if (!first) return;
  const picture = first.querySelector("svg");
  const gone = (watch) => (picture.remove(), first.remove(), watch.disconnect());
  new MutationObserver((_, watch) => {
    const box = document.querySelector(".log-view figure");
    if (document.querySelector(".log-view .xtick")) gone(watch);
    else if (box && picture.parentElement !== box) box.prepend(picture), first.remove();
    // a page that says what is wrong has no log view
    else if (!box && document.querySelector("#content h1") && document.querySelector("#content [role=alert]")) gone(watch);
  }).observe(document.documentElement, { childList: true, subtree: true });
})();

// paper is narrower than most screens: draw again at the width of the printed column
(() => {
  const mm = 96 / 25.4;
  const plots = () => [...document.querySelectorAll(".plot .js-plotly-plot")].filter((plot) => plot._fullLayout);
  const axes = (plot) => Object.keys(plot._fullLayout).filter((name) => /^yaxis\d*$/.test(name));
  let before = new Map();

  // the box too, since Dash draws a figure anew at the size of its box as soon as that changes
  function draw(plot, width, height, change) {
    Object.assign(plot.closest(".plot").style, { width, height });
    window.Plotly.relayout(plot, change);
  }
  addEventListener("beforeprint", () => {
    before = new Map();
    for (const plot of plots()) {
      const log = plot.closest(".log-view");
      const wide = plot.closest("figure").classList.contains("wide");
      const { margin, font } = plot._fullLayout;
      const ticks = axes(plot).map((name) => [`${name}.tickfont.size`, plot.layout[name]?.tickfont?.size ?? null]);
      const changed = { "font.size": font.size, ...Object.fromEntries(ticks) };
      for (const side of ["l", "r", "t", "b"]) changed[`margin.${side}`] = margin[side];
      before.set(plot, { height: plot.closest(".plot").style.height, changed });
      // the log has a row for each check, whose names need their height
      const height = plot.clientHeight * (log ? 0.75 : 0.6);
      const width = (wide ? 182 : 88) * mm;
      draw(plot, `${width}px`, `${height}px`, {
        autosize: false, width, height, "font.size": 8, ...Object.fromEntries(ticks.map(([name]) => [name, 7])),
        "margin.l": 52, "margin.r": 8, "margin.t": Math.min(margin.t, 16), "margin.b": 30,
      });
    }
  });
  addEventListener("afterprint", () => {
    for (const [plot, { height, changed }] of before)
      draw(plot, "", height, { autosize: true, width: null, height: null, ...changed });
    before = new Map();
  });
})();
