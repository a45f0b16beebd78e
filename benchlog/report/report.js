"use strict";
(async () => {
  // a browser older than 2023 cannot unpack it; the table above says all that the drawings show
  async function unpack(text) {
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const unpacked = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Response(unpacked).text();
  }
  const script = document.createElement("script");
  try {
    script.textContent = await unpack(document.getElementById("plotly").textContent);
  } catch {
    for (const box of document.querySelectorAll(".plot")) box.textContent = "This browser is too old to draw this.";
    return;
  }
  document.head.append(script);

  const figures = JSON.parse(document.getElementById("figures").textContent);
  const config = { displayModeBar: false, responsive: true, scrollZoom: false };
  const boxes = figures.map((_, k) => document.getElementById(`plot-${k}`));
  const narrow = matchMedia("(max-width: 600px)");

  // Plotly writes into the layouts it is given
  const heights = figures.map((figure) => figure.layout.height);
  const fontSize = narrow.matches ? 11 : 12;

  figures.forEach((figure, k) => {
    figure.layout.font.size = fontSize;
    if (narrow.matches) {
      // a thumb scrolls the page, not the drawing
      figure.layout.dragmode = false;
      figure.layout.margin.l = 52;
    }
    boxes[k].style.height = `${heights[k]}px`;
    Plotly.newPlot(boxes[k], figure.data, figure.layout, config);
  });

  // paper is narrower than most screens: draw again at the width of the printed column
  const mm = 96 / 25.4;
  const margins = figures.map((figure) => ({ ...figure.layout.margin }));
  function draw(box, height, change) {
    box.style.height = `${height}px`;
    Plotly.relayout(box, { height, ...change });
  }
  addEventListener("beforeprint", () => {
    boxes.forEach((box, k) => {
      const wide = box.parentElement.classList.contains("wide");
      draw(box, heights[k] * (wide ? 0.53 : 0.52), {
        width: (wide ? 182 : 90) * mm,
        autosize: false,
        "font.size": 8,
        margin: { l: 44, r: 8, t: Math.min(margins[k].t, 14), b: 28 },
      });
    });
  });
  addEventListener("afterprint", () => {
    boxes.forEach((box, k) =>
      draw(box, heights[k], {
        width: null,
        autosize: true,
        "font.size": fontSize,
        margin: margins[k],
      }),
    );
  });
})();
