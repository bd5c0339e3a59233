// The service worker: answers from the phone where there is no signal, sends what waits when it is back.
// `self.DESK` is set by the address that serves it: version, files, noSignal, signOut.
"use strict";

(() => {
  const { version, files, noSignal, signOut } = self.DESK;
  const CACHE = `desk ${version}`;
  const PATIENCE_MS = 4000; // then the kept page
  const LONG_PATIENCE_MS = 20000; // where there is none
  const GONE = [502, 503, 504]; // the desk is not there, whoever else answered

  self.addEventListener("install", (event) => {
    const fill = async () => {
      const cache = await caches.open(CACHE);
      await cache.addAll(files.map((file) => new Request(file, { cache: "no-cache" })));
      // Without cookies: the page as it is for nobody, with nothing personal on it.
      await cache.put(noSignal, await fetch(noSignal, { credentials: "omit", cache: "no-cache" }));
      await self.skipWaiting();
    };
    event.waitUntil(fill());
  });

  self.addEventListener("activate", (event) => {
    const start = async () => {
      for (const name of await caches.keys()) {
        if (name.startsWith("desk ") && name !== CACHE) await caches.delete(name);
      }
      await phone.wipeOld();
      await self.registration.navigationPreload?.enable();
      await self.clients.claim();
    };
    event.waitUntil(start());
  });

  async function emptyPage() {
    return (await (await caches.open(CACHE)).match(noSignal)) || Response.error();
  }

  // The code of a scanned or typed tag, read as the desk reads it: I and L are 1, O is 0, U is V.
  function codeOf(address) {
    const typed = /^\/t\/([^/]+)\/$/.exec(address)?.[1];
    const read = { I: "1", L: "1", O: "0", U: "V" };
    return typed && typed.toUpperCase().replace(/[^0-9A-Z]/g, "").replace(/[ILOU]/g, (sign) => read[sign]);
  }

  // Where a tag of today leads on this phone; nothing for other addresses.
  async function tagLeads(address) {
    const code = codeOf(address);
    const leads = code && (await phone.facts()).tags?.[code];
    return leads && (await phone.kept(leads.split("#")[0])) ? leads : "";
  }

  // What to show where the network gave nothing.
  async function instead(address) {
    const page = await phone.kept(address);
    if (page) return page;
    const leads = await tagLeads(address);
    if (leads) return Response.redirect(leads);
    const { keep = [] } = await phone.facts();
    if (address === "/" && (await phone.kept(keep[0] || ""))) return Response.redirect(keep[0]);
    return emptyPage();
  }

  // A page that the network gave: whose it is, and whether it belongs to the day.
  async function look(address, answer) {
    if (!(answer.headers.get("Content-Type") || "").startsWith("text/html")) return;
    const copy = answer.clone();
    const user = phone.userOf(await answer.text());
    if (user === null) return;
    await phone.seen(user);
    await phone.keepPage(address, copy);
  }

  async function navigation(event) {
    const url = new URL(event.request.url);
    const address = url.search ? "" : url.pathname;
    const asked = (async () => (await event.preloadResponse) || fetch(event.request))();
    event.waitUntil(
      asked.then(
        (answer) => (answer.type === "basic" ? look(address, answer.clone()) : undefined),
        () => undefined,
      ),
    );
    const began = performance.now();
    const here = async () => (await phone.kept(address)) || tagLeads(address);
    const tired = here().then((page) => {
      const left = (page ? PATIENCE_MS : LONG_PATIENCE_MS) - (performance.now() - began);
      return new Promise((done) => setTimeout(done, left, null));
    });
    const answer = await Promise.race([asked.catch(() => null), tired]);
    if (!answer || GONE.includes(answer.status)) return instead(address);
    return answer;
  }

  self.addEventListener("fetch", (event) => {
    const { request } = event;
    const url = new URL(request.url);
    if (url.origin !== self.location.origin) return;
    if (request.mode === "navigate") {
      // The answer to a sign-out has to reach the browser itself, with its order to clear.
      if (url.pathname === signOut) return;
      if (request.method === "GET") event.respondWith(navigation(event));
      else event.respondWith(fetch(request).catch(emptyPage));
    } else if (request.method === "GET" && files.includes(url.pathname + url.search)) {
      event.respondWith(caches.open(CACHE).then(async (cache) => (await cache.match(request)) || fetch(request)));
    }
  });

  self.addEventListener("message", (event) => {
    if (event.data === "go") event.waitUntil(phone.go());
  });

  self.addEventListener("sync", (event) => {
    const bring = async () => {
      const { state } = await phone.go();
      if (state === "no-signal") throw new Error(state); // the browser tries again, with its own patience
    };
    event.waitUntil(bring());
  });
})();
