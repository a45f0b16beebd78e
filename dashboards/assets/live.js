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

  new MutationObserver(() => document.getElementById("live-now") && go()).observe(document.documentElement, {
    childList: true,
    subtree: true,
  });
})();
