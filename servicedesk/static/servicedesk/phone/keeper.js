// Keeps the pages of the day, and nothing past its end. A cache's name says whose pages it holds and until when,
// so that they can be wiped even where nothing else is left.
"use strict";

((phone) => {
  const AT_ONCE = 4;
  const FRESH_MS = 15 * 60 * 1000;
  const LIMIT_MS = 15000;
  // So long a sign-out waits for copies that are just being written, which stop at the next page.
  const PATIENCE_MS = 1500;
  const MARK = /<body[^>]*?\bdata-user="(\d*)"/;

  function nameOf(user, until) {
    return `day ${user} ${until}`;
  }

  async function days() {
    const names = (await caches.keys()).filter((name) => name.startsWith("day "));
    return names.map((name) => ({ name, user: Number(name.split(" ")[1]), until: Number(name.split(" ")[2]) }));
  }

  // Whose page this is, by its own mark: a number, 0 for nobody, null where the page does not say.
  phone.userOf = (html) => {
    const found = MARK.exec(html);
    return found ? Number(found[1] || 0) : null;
  };

  phone.wipePages = async () => {
    for (const day of await days()) await caches.delete(day.name);
    phone.tell();
  };

  // Deletes the pages of days that are over.
  phone.wipeOld = async () => {
    const now = phone.deskNow(await phone.facts());
    for (const day of await days()) if (day.until <= now) await caches.delete(day.name);
  };

  // A page of this person was seen (0: of nobody): pages kept for anybody else go.
  phone.seen = async (user) => {
    for (const day of await days()) if (day.user !== user) await caches.delete(day.name);
  };

  // The kept page of an address; nothing where there is none or the day is over.
  phone.kept = async (address) => {
    await phone.wipeOld();
    for (const day of await days()) {
      const found = await (await caches.open(day.name)).match(address);
      if (found) return found;
    }
    return undefined;
  };

  // {address: title} of the kept pages, in the order of the day.
  phone.keptTitles = async () => {
    await phone.wipeOld();
    const { keep = [] } = await phone.facts();
    const titles = {};
    for (const address of keep) {
      const page = await phone.kept(address);
      if (page) titles[address] = new DOMParser().parseFromString(await page.text(), "text/html").title;
    }
    return titles;
  };

  // A sign-out forgets the facts before it deletes the pages: what was written too late goes after them.
  async function stillTheirs({ user, until }) {
    if ((await phone.facts()).user === user) return true;
    await caches.delete(nameOf(user, until));
    return false;
  }

  // Keeps one page, if it is what it should be: whole, its own, of this person, of a day that still runs.
  phone.keepPage = async (address, answer) => {
    const html = (answer.headers.get("Content-Type") || "").startsWith("text/html");
    if (answer.status !== 200 || answer.type !== "basic" || answer.redirected || !html) return false;
    const text = await answer.text();
    const facts = await phone.facts();
    const now = phone.deskNow(facts);
    if (!facts.user || phone.userOf(text) !== facts.user || !(facts.until > now)) return false;
    if (!(facts.keep || []).includes(address)) return false;
    // What was said once is not said again, and the page knows that it is a copy.
    const body = text
      .replace(/<ul class="messages"[\s\S]*?<\/ul>/, "")
      .replace("<body", `<body data-kept="${Math.round(now)}"`);
    const headers = { "Content-Type": "text/html; charset=utf-8" };
    for (const name of ["Content-Security-Policy", "Referrer-Policy", "X-Content-Type-Options"]) {
      if (answer.headers.has(name)) headers[name] = answer.headers.get(name);
    }
    const cache = await caches.open(nameOf(facts.user, facts.until));
    await cache.put(address, new Response(body, { headers }));
    return stillTheirs(facts);
  };

  async function fetchAndKeep(address) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), LIMIT_MS);
    try {
      // A copy must not use up what the desk says once.
      const headers = { "X-Copy": "1" };
      const answer = await fetch(address, { headers, redirect: "manual", cache: "no-store", signal: stop.signal });
      return await phone.keepPage(address, answer);
    } finally {
      clearTimeout(timer);
    }
  }

  async function addressesIn(cache) {
    return (await cache.keys()).map((request) => new URL(request.url).pathname);
  }

  // Brings the phone's copies in line with what the desk says belongs to the day: the sheet every time, the
  // rest where it is missing or old. Stops where the signal stops, and goes on another time.
  async function keep(told, anew) {
    const facts = await phone.facts();
    if (facts.user !== told.user) return;
    const cache = await caches.open(nameOf(told.user, told.until));
    for (const day of await days()) {
      if (day.name !== nameOf(told.user, told.until)) await caches.delete(day.name);
    }
    const had = await addressesIn(cache);
    for (const address of had) if (!told.keep.includes(address)) await cache.delete(address);
    const old = anew || phone.deskNow(facts) - (facts.freshAt || 0) > FRESH_MS;
    const wanted = told.keep.filter((address, at) => at === 0 || old || !had.includes(address));
    let whole = true;
    const next = async () => {
      for (let address = wanted.shift(); address; address = wanted.shift()) {
        try {
          await fetchAndKeep(address);
        } catch {
          whole = false;
          wanted.length = 0;
        }
      }
    };
    await Promise.all(Array.from({ length: AT_ONCE }, next));
    if (!(await stillTheirs(told))) return;
    const now = phone.deskNow(await phone.facts());
    if (whole) await phone.note(old ? { keptAt: now, freshAt: now } : { keptAt: now });
    phone.tell();
  }

  // One at a time: who comes while another still fetches has nothing to add.
  phone.keep = (told, { anew = false } = {}) =>
    navigator.locks.request("phone-keep", { ifAvailable: true }, (held) => held && keep(told, anew));

  // How much of the day is here: {since, sheet, stops, kept}.
  phone.keptCount = async () => {
    const { keep = [], keptAt, user, until } = await phone.facts();
    const name = nameOf(user, until);
    const had = (await caches.has(name)) ? await addressesIn(await caches.open(name)) : [];
    const stops = keep.filter((address) => /^\/visits\/\d+\/$/.test(address));
    return {
      since: keptAt,
      sheet: keep.length > 0 && had.includes(keep[0]),
      stops: stops.length,
      kept: stops.filter((address) => had.includes(address)).length,
    };
  };

  // All in one: send what waits, then keep the day, then send the photographs, which may take long.
  phone.go = async () => {
    await phone.wipeOld();
    const sent = await phone.send({ seen: (told) => phone.seen(told.user) });
    if (sent.state === "signed-out" && !sent.told) await phone.wipePages();
    if (sent.state !== "sent") return sent;
    await phone.keep(sent.told, { anew: Object.keys(sent.answers).length > 0 });
    return { ...sent, state: await phone.sendPhotos(sent.told) };
  };

  // Sign-out: nothing stays but what waits of somebody else, where `only` names who leaves.
  phone.clear = async ({ only = 0 } = {}) => {
    await (only ? phone.forgetOnly(only) : phone.forgetAll());
    const written = navigator.locks.request("phone-keep", () => true);
    await Promise.race([written, new Promise((done) => setTimeout(done, PATIENCE_MS))]);
    for (const name of await caches.keys()) await caches.delete(name);
    for (const worker of await navigator.serviceWorker.getRegistrations()) await worker.unregister();
  };
})(self.phone);
