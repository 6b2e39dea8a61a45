"use strict";
// Keeps the page up to date. Without it all else works; nothing is asked of any other place.
(() => {
  const live = document.querySelector("[data-live]");
  const said = document.getElementById("said");
  const lost = document.getElementById("lost");
  if (!live || !window.EventSource) return;
  const SILENT_MS = 40000;
  let heardMs = Date.now();

  function put(place, html) {
    const made = document.createElement("template");
    made.innerHTML = html;
    if (made.innerHTML === place.innerHTML) return; // what is being read or tapped stays
    const held = place.contains(document.activeElement) ? document.activeElement.id : "";
    place.replaceChildren(made.content);
    if (held) document.getElementById(held)?.focus({ preventScroll: true });
  }

  function heard() {
    heardMs = Date.now();
    lost.hidden = true;
    live.classList.remove("old");
  }

  function silent() {
    lost.hidden = false;
    live.classList.add("old");
  }

  const stream = new EventSource(live.dataset.live);
  const show = (event) => {
    heard();
    const news = JSON.parse(event.data);
    for (const name of ["now", "day", "figures"]) {
      const place = document.getElementById(name);
      if (place && news[name]) put(place, news[name]);
    }
    if (news.said && said.textContent !== news.said) {
      said.textContent = news.said;
      document.title = news.said + " - afterfill";
    }
  };
  stream.addEventListener("now", show);
  stream.addEventListener("day", show);
  stream.addEventListener("beat", heard);
  stream.addEventListener("error", silent);
  window.setInterval(() => { if (Date.now() - heardMs > SILENT_MS) silent(); }, 5000);
})();
