// Puts the phone's parts to work on a technician's page.
"use strict";

(async (phone) => {
  const able =
    "serviceWorker" in navigator && navigator.locks && self.indexedDB && self.caches && self.crypto?.randomUUID;
  if (!able) return; // the forms go on working as plain ones
  const SOON_MS = 2000;
  const LATE_WORKER_MS = 10000;
  const LATE_MS = 5 * 60 * 1000;
  let pause = SOON_MS;
  let timer = 0;

  // Sends and keeps, in the worker where there is one: it goes on when this page is left.
  phone.wake = async () => {
    const worker = await navigator.serviceWorker.getRegistration();
    if (worker?.active) worker.active.postMessage("go");
    else await phone.go();
  };

  phone.later = async () => {
    try {
      const worker = await navigator.serviceWorker.getRegistration();
      await worker?.sync?.register("entries");
    } catch {
      // No background sync here: an open page sends.
    }
    phone.tell();
  };

  phone.soon = () => {
    pause = SOON_MS;
    clearTimeout(timer);
    timer = 0;
    return phone.wake();
  };

  // While something waits it is tried again, at longer and longer distance.
  phone.expect = (waiting) => {
    if (!waiting) {
      clearTimeout(timer);
      timer = 0;
      pause = SOON_MS;
    } else if (!timer) {
      timer = setTimeout(() => {
        timer = 0;
        pause = Math.min(pause * 2, LATE_MS);
        phone.wake().finally(() => phone.draw());
      }, pause * (0.8 + 0.4 * Math.random()));
    }
  };

  new BroadcastChannel("phone").addEventListener("message", () => {
    phone.dayOver();
    phone.draw();
  });
  addEventListener("online", () => phone.soon());
  addEventListener("pageshow", (event) => event.persisted && phone.soon());
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) phone.draw();
  });

  phone.watchForms();
  phone.watchLeaving();
  if (!document.body.dataset.kept) await phone.seen(Number(document.body.dataset.user || 0));
  await phone.showWaiting();
  await phone.draw();
  const { worker } = document.getElementById("phone-words").dataset;
  // Where no worker comes, as in a private window, the page itself sends.
  const patience = new Promise((done) => setTimeout(done, LATE_WORKER_MS));
  const registered = navigator.serviceWorker.register(worker, { updateViaCache: "none" });
  await Promise.race([registered.then(() => navigator.serviceWorker.ready).catch(() => null), patience]);
  await phone.wake();
})(self.phone);
