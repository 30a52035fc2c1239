// Makes this phone one that is woken. Without HTTPS, or where the browser cannot, it says so and offers nothing.
"use strict";
(() => {
  const form = document.getElementById("push"), said = document.getElementById("push-said");
  if (!form) return;
  if (!window.isSecureContext) { said.textContent = "This page came without HTTPS, so this phone cannot be woken by it. Ask whoever looks after the gateway for its https address."; return; }
  if (!("serviceWorker" in navigator) || !("PushManager" in window) || !("Notification" in window)) {
    said.textContent = "This browser cannot be woken. On an iPhone or iPad put this page on the home screen first and open it from there.";
    return;
  }
  form.hidden = false; said.textContent = "The browser will ask whether it may show messages.";
  const bytes = (text) => Uint8Array.from(atob(text.replace(/-/g, "+").replace(/_/g, "/")), (one) => one.charCodeAt(0));
  const text = (raw) => btoa(String.fromCharCode(...new Uint8Array(raw))).replace(/\+/g, "-").replace(/\//g, "_").replace(/=+$/, "");

  async function subscribed() {
    if (await Notification.requestPermission() !== "granted") throw new Error("this browser may not show messages. Allow it in its settings for this page.");
    try { await navigator.serviceWorker.register("/sw.js"); } catch (fault) {
      throw new Error("this browser does not trust the gateway's certificate, or keeps nothing for this page (" + fault.message + ").");
    }
    const manager = (await navigator.serviceWorker.ready).pushManager;
    const wanted = { userVisibleOnly: true, applicationServerKey: bytes(form.dataset.key) };
    try { return await manager.subscribe(wanted); } catch (fault) {
      // Bound to another gateway's key: one page has one subscription.
      const old = await manager.getSubscription();
      if (!old) throw new Error("the browser's push service gave no address (" + fault.message + "). This phone needs the internet for it, and a private window cannot be woken.");
      await old.unsubscribe();
      return manager.subscribe(wanted);
    }
  }

  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const button = form.querySelector("button");
    button.disabled = true;
    try {
      const made = await subscribed();
      form.elements.endpoint.value = made.endpoint;
      form.elements.p256dh.value = text(made.getKey("p256dh"));
      form.elements.auth.value = text(made.getKey("auth"));
      form.submit();
    } catch (fault) { said.textContent = "Not made: " + fault.message; button.disabled = false; }
  });
})();
