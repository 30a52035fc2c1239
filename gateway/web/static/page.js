// Keeps a page fresh and says when it is not. Every page works without this file.
"use strict";
(() => {
  const root = document.documentElement, body = document.body, main = document.getElementById("main");
  const old = document.getElementById("old"), clock = document.getElementById("clock");
  const STALE_MS = 40000, LEAST_GAP_MS = 4000, POLL_MS = 20000;
  // Kept by this device and shown without the gateway: how long ago, by this device's clock.
  const keptMs = Number(root.dataset.kept || 0);
  let base = Number(body.dataset.now), at = performance.now() - (keptMs ? Math.max(0, Date.now() - keptMs) : 0);
  let asOf = clock ? clock.textContent : "", good = keptMs ? -Infinity : performance.now(), busy = false, last = 0;

  const now = () => base + (performance.now() - at);
  const span = (ms) => {
    const m = Math.floor(Math.abs(ms) / 60000), h = Math.floor(m / 60);
    if (h >= 48) return Math.floor(h / 24) + " d " + (h % 24) + " h";
    return h ? h + " h " + String(m % 60).padStart(2, "0") : m + " min";
  };
  const ago = (ms) => Math.abs(ms) < 60000 ? "now" : ms > 0 ? span(ms) + " ago" : "in " + span(ms);

  function tick() {
    for (const one of document.querySelectorAll("[data-ago]")) {
      const said = ago(now() - Number(one.dataset.ago));
      if (one.textContent !== said) one.textContent = said;
    }
    for (const one of document.querySelectorAll("[data-until]")) {
      if (now() > Number(one.dataset.until) && !one.contains(document.activeElement)) one.remove();
    }
    const live = performance.now() - good < STALE_MS;
    const said = live ? "" : "Not live: this is how it stood at " + asOf + ", " + ago(performance.now() - at) + ".";
    if (old.textContent !== said) old.textContent = said;
    root.toggleAttribute("data-old", !live);
  }

  const key = (one) => one && one !== body && main.contains(one)
    ? one.tagName + (one.getAttribute("href") || "") + (one.form ? one.form.getAttribute("action") : "") + one.textContent : "";

  function still() {
    const one = document.activeElement;
    if (one && main.contains(one) && /^(INPUT|SELECT|TEXTAREA)$/.test(one.tagName)) return true;
    return Boolean(main.querySelector("form[data-touched], details[open] form")) || "still" in (main.firstElementChild || main).dataset;
  }

  async function refresh() {
    if (busy || document.hidden) return;
    busy = true;
    try {
      const answer = await fetch(location.href, { headers: { "X-Part": "1" }, cache: "no-store", redirect: "error" });
      const text = answer.ok && !answer.headers.get("X-Kept") ? await answer.text() : "";
      const stamp = Number(answer.headers.get("X-Now"));
      if (text && stamp) {
        good = at = performance.now(); base = stamp; asOf = answer.headers.get("X-Clock") || asOf;
        if (clock) clock.textContent = asOf;
        if (!still()) put(text);
      }
    } catch (fault) { /* said by tick: the page is not live */ }
    busy = false; last = performance.now();
    tick();
  }

  function put(text) {
    const made = new DOMParser().parseFromString(text, "text/html");
    const focused = key(document.activeElement);
    made.querySelector("title")?.remove();
    main.replaceChildren(...made.body.childNodes);
    if (focused) [...main.querySelectorAll("a,button,summary")].find((one) => key(one) === focused)?.focus();
    reading();
  }

  let waiting = 0;
  function soon() {
    const wait = Math.max(0, LEAST_GAP_MS - (performance.now() - last));
    if (!waiting) waiting = setTimeout(() => { waiting = 0; refresh(); }, wait);
  }

  function listen() {
    const source = new EventSource("/live");
    source.onmessage = soon; source.addEventListener("changed", soon);
    source.onopen = () => { if (performance.now() - good > LEAST_GAP_MS) soon(); };
  }

  // A finger on a chart: the figures at that time, from the table below it.
  function reading() {
    for (const chart of document.querySelectorAll("svg.chart[data-from]")) {
      const out = document.getElementById(chart.dataset.says);
      if (!out) continue;
      chart.onpointermove = chart.onpointerdown = (event) => {
        const box = chart.querySelector(".plot .grid").getBoundingClientRect(), d = chart.dataset;
        const ms = Number(d.from) + (event.clientX - box.left) / box.width * (Number(d.to) - Number(d.from));
        const rows = [...document.querySelectorAll("#" + d.table + " tbody tr")];
        const row = rows.reduce((best, one) => Math.abs(one.dataset.at - ms) < Math.abs(best.dataset.at - ms) ? one : best, rows[0]);
        if (row) out.textContent = [...row.cells].map((cell) => (cell.dataset.name ? cell.dataset.name + " " : "") + cell.textContent + (cell.dataset.unit ? " " + cell.dataset.unit : "")).join(", ");
      };
    }
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "1";
    setTimeout(() => { delete form.dataset.sent; }, 4000);
  });
  document.addEventListener("input", (event) => { if (event.target.form) event.target.form.dataset.touched = "1"; });
  document.addEventListener("visibilitychange", () => { if (!document.hidden) refresh(); });
  window.addEventListener("pageshow", (event) => { if (event.persisted) refresh(); });
  document.getElementById("copy")?.addEventListener("click", (event) => {
    const rows = [...document.querySelectorAll("#" + event.target.dataset.table + " tr")];
    navigator.clipboard?.writeText(rows.map((row) => [...row.cells].map((cell) => cell.textContent.trim()).join("\t")).join("\n"));
    event.target.textContent = "Copied";
  });
  if ("serviceWorker" in navigator && window.isSecureContext) navigator.serviceWorker.register("/sw.js").catch(() => {});
  setInterval(tick, 5000); setInterval(() => { if (performance.now() - last > POLL_MS) refresh(); }, 5000);
  if (window.EventSource) listen();
  if (keptMs) refresh();
  reading(); tick();
})();
