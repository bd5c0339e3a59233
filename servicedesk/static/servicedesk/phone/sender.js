// Brings what waits to the desk: strictly in order, one sender at a time, each entry until the desk has it.
"use strict";

((phone) => {
  const BATCH = 25;
  const LIMIT_MS = 15000;
  const SLOWEST = 2; // bytes a millisecond: so slow a wire still brings a photograph
  const LOCK = "phone-send";
  const LOCK_PHOTOS = "phone-send-photos";
  const OPEN = "phone-open ";
  const OVER = ["taken", "beside", "to_judge"]; // the desk has it

  const REFUSALS = [400, 413, 422];
  const REFUSED_PHOTO = [404, 413, 422]; // no photograph, too much of one, or of nothing that the desk knows

  // The lock of an entry that stands open in a form.
  phone.openName = (id) => OPEN + id;

  // Ids of the entries that stand open in some page, but for `here`: they are not sent meanwhile.
  async function opened(here) {
    const { held } = await navigator.locks.query();
    const ids = held.filter(({ name }) => name.startsWith(OPEN)).map(({ name }) => name.slice(OPEN.length));
    return new Set(ids.filter((id) => id !== here));
  }

  class NoSignal extends Error {}
  class SignedOut extends Error {}
  class NotUnderstood extends Error {}

  // One request with a limit on the whole of it, body included. The answer's JSON and HTTP status.
  async function ask(address, options, endsAt) {
    const stop = new AbortController();
    const timer = setTimeout(() => stop.abort(), Math.max(endsAt - performance.now(), 0));
    try {
      const answer = await fetch(address, { ...options, redirect: "manual", cache: "no-store", signal: stop.signal });
      if (answer.type === "opaqueredirect" || answer.status === 401 || answer.status === 403) throw new SignedOut();
      if (answer.status >= 500 || answer.status === 429) throw new NoSignal();
      const text = await answer.text();
      if (!(answer.headers.get("Content-Type") || "").includes("json")) {
        // A page where JSON was asked for: on the way sits something that is not the desk, or an older one.
        throw REFUSALS.includes(answer.status) ? new NotUnderstood(String(answer.status)) : new NoSignal();
      }
      return { ok: answer.ok, status: answer.status, ...JSON.parse(text) };
    } catch (fault) {
      if (fault instanceof SignedOut || fault instanceof NotUnderstood) throw fault;
      throw new NoSignal();
    } finally {
      clearTimeout(timer);
    }
  }

  // The desk's clock less the phone's, taken at the middle of a request that began at `before`.
  function skewOf(now, before) {
    return Number.isFinite(now) ? { skew: Math.round(now - (before + Date.now()) / 2) } : {};
  }

  async function mine(endsAt) {
    const before = Date.now();
    const told = await ask("/days/mine/", { headers: { Accept: "application/json" } }, endsAt);
    if (!told.ok || !told.user) throw new SignedOut();
    const { user, until, day, keep, tags } = told;
    await phone.note({ ...skewOf(told.now, before), user, until, day, keep, tags });
    return told;
  }

  function wire(entry, device, here) {
    const { id, n, visit, slot, kind, at, skew, fields } = entry;
    return { id, n, device, visit, slot, kind, at, skew, fields, here: here === id };
  }

  async function post(batch, told, here, endsAt) {
    const { device } = await phone.facts();
    const before = Date.now();
    const answer = await ask(
      "/days/entries/",
      {
        method: "POST",
        headers: { "Content-Type": "application/json", "X-CSRFToken": told.token },
        body: JSON.stringify({
          sent_at: before,
          user: told.user,
          entries: batch.map((entry) => wire(entry, device, here)),
        }),
      },
      endsAt,
    );
    if (!answer.ok) throw new NotUnderstood(String(answer.status));
    await phone.note(skewOf(answer.now, before));
    return answer.entries;
  }

  // A batch that is not understood is tried one by one, so that one bad entry holds up no other.
  async function postOrPark(batch, told, here, endsAt) {
    try {
      return { answers: await post(batch, told, here, endsAt), parked: 0 };
    } catch (fault) {
      if (!(fault instanceof NotUnderstood)) throw fault;
      if (batch.length > 1) return postOrPark(batch.slice(0, 1), told, here, endsAt);
      await phone.stick(batch[0], fault.message);
      return { answers: [], parked: 1 };
    }
  }

  // How many of the batch are settled: with the desk, or back in front of the person who wrote them.
  async function settle(batch, answers, found) {
    const known = answers.filter((answer) => batch.some((entry) => entry.id === answer.id));
    for (const answer of known) found[answer.id] = answer;
    const over = known.filter((answer) => OVER.includes(answer.state));
    const asked = known.filter((answer) => answer.state === "ask");
    const title = ({ id }) => batch.find((entry) => entry.id === id).title || "";
    const said = over.filter((answer) => answer.said);
    await phone.drop(over.map(({ id }) => id), said.map((answer) => `${title(answer)}: ${answer.said}`));
    // Nothing of these is stored at the desk, and the form has it all; what waited here before stays all the same.
    const before = await opened("");
    await phone.withdraw(asked.map(({ id }) => id).filter((id) => !before.has(id)));
    return over.length + asked.length;
  }

  async function sendEntries(told, here, until, found) {
    for (;;) {
      const open = await opened(here);
      const goes = ({ id, user, stuck }) => user === told.user && !stuck && !open.has(id) && found[id]?.state !== "ask";
      const waiting = (await phone.entries()).filter(goes);
      const batch = waiting.slice(0, BATCH);
      if (!batch.length) return;
      const { answers, parked } = await postOrPark(batch, told, here, until());
      const settled = await settle(batch, answers, found);
      if (!settled && !parked) throw new NoSignal(); // an answer that settles nothing: later, not in a circle
    }
  }

  async function sendPhotos(told, until) {
    const waiting = new Set((await phone.entries()).map((entry) => entry.id));
    const ready = (await phone.photos()).filter((one) => one.user === told.user && !waiting.has(one.entry));
    for (const photo of ready.sort((one, other) => one.at - other.at)) {
      const form = new FormData();
      for (const name of ["id", "entry", "visit", "slot", "at"]) form.append(name, String(photo[name]));
      form.append("sent_at", String(Date.now()));
      form.append("file", photo.blob, `${photo.id}.jpg`);
      let said = "";
      try {
        const headers = { "X-CSRFToken": told.token };
        const endsAt = until(photo.blob.size / SLOWEST);
        const answer = await ask("/days/photo/", { method: "POST", headers, body: form }, endsAt);
        if (!answer.ok) said = answer.said || String(answer.status);
        // Only what can have no place at the desk may be lost: anything else waits here.
        if (!answer.ok && !REFUSED_PHOTO.includes(answer.status)) continue;
      } catch (fault) {
        if (!(fault instanceof NotUnderstood)) throw fault;
        if (!REFUSED_PHOTO.map(String).includes(fault.message)) continue;
        said = fault.message;
      }
      if (said) await phone.drop([], [`${photo.title || ""}: ${said}`]);
      await phone.dropPhotos([photo.id]);
    }
  }

  // Runs under the lock, or answers `late` where it does not come within `limit` milliseconds.
  async function locked(name, limit, late, run) {
    const stop = new AbortController();
    const timer = limit ? setTimeout(() => stop.abort(), limit) : 0;
    try {
      return await navigator.locks.request(name, { signal: stop.signal }, () => {
        clearTimeout(timer);
        return run();
      });
    } catch (fault) {
      if (fault.name === "AbortError") return late;
      throw fault;
    } finally {
      clearTimeout(timer);
    }
  }

  // What became of a sending that was broken off by a fault of the wire.
  function stateAfter(fault) {
    if (fault instanceof SignedOut) return "signed-out";
    if (fault instanceof NoSignal || fault instanceof NotUnderstood) return "no-signal";
    throw fault;
  }

  function limits(limit) {
    const endsAt = limit ? performance.now() + limit : Infinity;
    return (more = 0) => Math.min(performance.now() + LIMIT_MS + more, endsAt);
  }

  // Sends all entries that the person signed in has waiting. `here` is the entry whose person still stands in
  // front of the form; `limit` milliseconds are all that it may take, where given. Answers
  // {state: "sent" | "no-signal" | "signed-out", answers: {id: answer}, told}.
  phone.send = async ({ here = "", limit = 0, seen = null } = {}) => {
    const until = limits(limit);
    const answers = {};
    return locked(LOCK, limit, { state: "no-signal", answers, told: null }, async () => {
      let told = null;
      try {
        told = await mine(until());
        if (seen) await seen(told);
        await sendEntries(told, here, until, answers);
        return { state: "sent", answers, told };
      } catch (fault) {
        return { state: stateAfter(fault), answers, told };
      }
    });
  };

  // Sends the photographs whose entries the desk has, `told` as it answered to these; under a lock of its own,
  // so that no entry waits behind a picture. Answers the state alone.
  phone.sendPhotos = (told, { limit = 0 } = {}) =>
    locked(LOCK_PHOTOS, limit, "no-signal", async () => {
      try {
        await sendPhotos(told, limits(limit));
        return "sent";
      } catch (fault) {
        return stateAfter(fault);
      }
    });
})(self.phone);
