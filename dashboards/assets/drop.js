"use strict";
// Files that are dropped or chosen go to the server one by one, as they are: nothing is held in memory here.
(() => {
  let tray = null;
  // the store that is told of each file
  let to = "tray";
  let waiting = Promise.resolve();

  const say = (text) => window.dash_clientside.set_props("drop-said", { children: text });

  function send(file) {
    return new Promise((resolve) => {
      const request = new XMLHttpRequest();
      request.open("POST", `/upload?tray=${encodeURIComponent(tray ?? "")}`);
      request.setRequestHeader("Content-Type", "application/octet-stream");
      request.setRequestHeader("X-File-Name", encodeURIComponent(file.name));
      request.setRequestHeader("X-Changed-Ms", String(file.lastModified));
      let told = 0;
      request.upload.onprogress = ({ loaded, total }) => {
        const percent = Math.floor((100 * loaded) / total);
        if (percent >= told + 5) {
          told = percent;
          say(`${file.name}: ${percent} %`);
        }
      };
      request.onerror = () => resolve(say(`${file.name} did not get through; is benchlog page still running?`));
      request.onload = () => {
        let answer = {};
        try {
          answer = JSON.parse(request.responseText);
        } catch {
          answer = { problem: request.responseText.trim() };
        }
        if (request.status !== 200) return resolve(say(answer.problem || `${file.name} was refused`));
        tray = answer.tray;
        window.dash_clientside.set_props(to, { data: answer });
        resolve(say(to === "tray" ? `${file.name} is in the tray.` : ""));
      };
      request.send(file);
    });
  }

  function take(files) {
    for (const file of files) waiting = waiting.then(() => send(file));
  }

  function prepare(slot) {
    tray = slot.dataset.tray ?? null;
    to = slot.dataset.to ?? "tray";
    const input = document.createElement("input");
    Object.assign(input, { type: "file", id: "drop-files", multiple: true, className: "drop-files" });
    input.addEventListener("change", () => {
      take([...input.files]);
      input.value = "";
    });
    slot.append(input);
    const area = document.getElementById("drop");
    for (const kind of ["dragenter", "dragover"])
      area.addEventListener(kind, (event) => {
        event.preventDefault();
        area.classList.add("over");
      });
    area.addEventListener("dragleave", () => area.classList.remove("over"));
    area.addEventListener("drop", (event) => {
      event.preventDefault();
      area.classList.remove("over");
      take([...event.dataTransfer.files]);
    });
  }

  // the page comes after this script, and may come again
  new MutationObserver(() => {
    const slot = document.getElementById("drop-slot");
    if (slot && !slot.firstChild) prepare(slot);
  }).observe(document.documentElement, { childList: true, subtree: true });
})();
