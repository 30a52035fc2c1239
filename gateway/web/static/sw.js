// Keeps the last state of each page on this device. What is shown from here says how old it is.
"use strict";
const STORE = "pages-1", MOST = 40;
// Ways in and out, and what is no page, always go to the gateway.
const NOT_OURS = /^\/(live|api|in|login|logout|me|metrics|health)(\/|$)/;
self.addEventListener("install", () => self.skipWaiting());
self.addEventListener("activate", (event) => event.waitUntil(self.clients.claim()));

self.addEventListener("fetch", (event) => {
  const asked = event.request, url = new URL(asked.url);
  if (url.origin !== location.origin || NOT_OURS.test(url.pathname)) return;
  if (asked.method !== "GET") { if (asked.mode === "navigate") event.respondWith(write(asked)); return; }
  if (url.pathname.startsWith("/static/")) event.respondWith(fixed(asked));
  else if (asked.mode === "navigate") event.respondWith(page(asked, event));
});

async function fixed(asked) {
  const store = await caches.open(STORE), kept = await store.match(asked);
  if (kept) return kept;
  const answer = await fetch(asked);
  if (answer.ok) await store.put(asked, answer.clone());
  return answer;
}

async function page(asked, event) {
  try {
    const answer = await fetch(asked);
    if (answer.ok && !answer.redirected && (answer.headers.get("content-type") || "").startsWith("text/html") && !asked.url.includes("?"))
      event.waitUntil(keep(asked, answer.clone()));
    return answer;
  } catch (fault) {
    const kept = await (await caches.open(STORE)).match(asked.url.split("?")[0]);
    if (!kept) return said("No connection", "This page is not kept on this device. Go and look: hand thermometer, hand meter, round sheet on paper.", 503);
    const text = await kept.text(), at = kept.headers.get("X-Kept") || "0";
    return new Response(text.replace("<html ", '<html data-old data-kept="' + at + '" '), { headers: { "content-type": "text/html; charset=utf-8", "X-Kept": at } });
  }
}

async function keep(asked, answer) {
  const store = await caches.open(STORE), headers = new Headers(answer.headers);
  headers.set("X-Kept", String(Date.now())); headers.delete("content-encoding");
  await store.put(asked.url, new Response(await answer.text(), { headers }));
  const names = await store.keys();
  for (const name of names.slice(0, Math.max(0, names.length - MOST))) await store.delete(name);
}

async function write(asked) {
  try { return await fetch(asked); } catch (fault) {
    return said("Not written down", "There is no connection to the gateway. Note it on paper with its time and write it down later.", 503);
  }
}

function said(title, text, status) {
  return new Response('<!doctype html><html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width"><title>' + title +
    "</title><h1>" + title + "</h1><p>" + text + '</p><p><a href="/">The floor as last seen</a></p></html>', { status, headers: { "content-type": "text/html; charset=utf-8" } });
}

// A call: shown even where the page is shut. What cannot be read is still a call.
self.addEventListener("push", (event) => {
  let told = {};
  try { told = event.data.json() || {}; } catch (fault) { /* said by the words below */ }
  const way = String(told.answer_url || ""), silent = Boolean(told.silent);
  event.waitUntil(self.registration.showNotification(told.title || "The malting floor calls", {
    body: told.text || "Open the page and look.", icon: "/static/mark.svg",
    tag: told.alarm ? "alarm-" + told.alarm : "notice-" + (told.notice || 0), renotify: !silent, silent, requireInteraction: !silent,
    data: { way: /^https?:\/\//.test(way) ? way : told.alarm ? "/alarm/" + told.alarm : "/" },
  }));
});
self.addEventListener("notificationclick", (event) => {
  event.notification.close();
  event.waitUntil(self.clients.openWindow(event.notification.data.way));
});
