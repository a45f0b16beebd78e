"use strict";
// Ask what the recordings read, show the answer, and ask again: several times a second, never twice at once.
(() => {
  let seen = "";
  let asking = false;

  async function look() {
    const answer = await fetch(`/look/live?seen=${encodeURIComponent(seen)}`, { cache: "no-store" });
    if (answer.status === 204) return 200;
    if (!answer.ok) return 2000;
    const told = await answer.json();
    seen = told.seen;
    for (const [id, props] of Object.entries(told.parts)) window.dash_clientside.set_props(id, props);
    return told.every_ms;
  }

  async function go() {
    if (asking) return;
    asking = true;
    seen = "";
    while (document.getElementById("live-now")) {
      const began = performance.now();
      let every = 2000;
      try {
        if (!document.hidden) every = await look();
      } catch {
        // the server is gone for a moment, or for good
      }
      await new Promise((done) => setTimeout(done, Math.max(every - (performance.now() - began), 20)));
    }
    asking = false;
  }

  // one listener for all: the buttons come and go with the steps
  document.addEventListener("click", async (event) => {
    const button = event.target.closest?.("[data-press]");
    if (!button) return;
    const { press: word, pid, step, ask } = button.dataset;
    button.classList.add("pressed");
    try {
      await fetch("/press", {
        method: "POST",
        headers: { "Content-Type": "application/json" },
        body: JSON.stringify({ word, pid, step, ask }),
      });
    } catch {
      // the server is gone for a moment, or for good
    }
    setTimeout(() => button.classList.remove("pressed"), 400);
  });

  new MutationObserver(() => document.getElementById("live-now") && go()).observe(document.documentElement, {
    childList: true,
    subtree: true,
  });
})();
