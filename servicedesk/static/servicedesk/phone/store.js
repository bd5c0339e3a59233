// What the phone keeps: entries on their way to the desk, their photographs, a few facts. Page and worker share it.
"use strict";
self.phone = self.phone || {};

((phone) => {
  const STORES = { entries: "id", photos: "id", facts: "name" };
  let opening = null;

  function forget() {
    opening = null;
  }

  function open() {
    opening ||= new Promise((done, failed) => {
      const asked = indexedDB.open("phone", 1);
      asked.onupgradeneeded = () => {
        for (const [name, keyPath] of Object.entries(STORES)) asked.result.createObjectStore(name, { keyPath });
      };
      asked.onerror = () => {
        forget();
        failed(asked.error);
      };
      asked.onsuccess = () => {
        const base = asked.result;
        base.onclose = forget;
        // Another page signs out: let go, or the deletion waits for this page to be closed.
        base.onversionchange = () => {
          base.close();
          forget();
        };
        done(base);
      };
    });
    return opening;
  }

  async function deal(mode) {
    // "strict": on the disk before anybody is told that it is kept.
    const options = { durability: "strict" };
    try {
      return (await open()).transaction(Object.keys(STORES), mode, options);
    } catch {
      forget(); // closed by a sign-out meanwhile
      return (await open()).transaction(Object.keys(STORES), mode, options);
    }
  }

  // `work` gets one store a name and may return a request, whose result is the answer.
  async function within(mode, work) {
    const running = await deal(mode);
    return new Promise((done, failed) => {
      const stores = Object.fromEntries(Object.keys(STORES).map((name) => [name, running.objectStore(name)]));
      const asked = work(stores);
      running.oncomplete = () => done(asked instanceof IDBRequest ? asked.result : undefined);
      running.onerror = running.onabort = () => failed(running.error);
    });
  }

  function tell() {
    const channel = new BroadcastChannel("phone");
    channel.postMessage("changed");
    channel.close();
  }

  phone.tell = tell;

  // Every fact by its name: user, until, day, keep, skew, device, count, keptAt, said.
  phone.facts = async () => {
    const rows = await within("readonly", ({ facts }) => facts.getAll());
    return Object.fromEntries(rows.map((row) => [row.name, row.value]));
  };

  phone.note = (values) =>
    within("readwrite", ({ facts }) => {
      for (const [name, value] of Object.entries(values)) facts.put({ name, value });
    });

  // Milliseconds of the desk's clock, as near as this phone can tell.
  phone.deskNow = (facts) => Date.now() + (facts.skew ?? 0);

  // Keeps an entry with its photographs, all or nothing. Who writes the same form again replaces the entry
  // and leaves its place in the row as it was.
  phone.add = async (entry, photos = []) => {
    await within("readwrite", ({ entries, photos: pictures, facts }) => {
      facts.get("device").onsuccess = (event) => {
        if (!event.target.result) facts.put({ name: "device", value: crypto.randomUUID() });
      };
      facts.get("skew").onsuccess = (event) => {
        const skew = event.target.result?.value ?? null;
        entries.get(entry.id).onsuccess = (found) => {
          const before = found.target.result;
          if (before) {
            // The hour of the first writing goes with the clock as it was known then.
            const known = entry.at === before.at ? before.skew : skew;
            entries.put({ ...before, ...entry, skew: known, n: before.n, stuck: "" });
            return;
          }
          facts.get("count").onsuccess = (counted) => {
            const n = (counted.target.result?.value ?? 0) + 1;
            facts.put({ name: "count", value: n });
            entries.put({ ...entry, skew, n });
          };
        };
      };
      for (const photo of photos) pictures.put(photo);
    });
    tell();
  };

  // Entries in the order in which they were written.
  phone.entries = async () => {
    const rows = await within("readonly", ({ entries }) => entries.getAll());
    return rows.sort((one, other) => one.n - other.n);
  };

  phone.photos = () => within("readonly", ({ photos }) => photos.getAll());

  phone.stick = (entry, said) => within("readwrite", ({ entries }) => entries.put({ ...entry, stuck: said }));

  // Parked entries are tried once more when somebody asks for it.
  phone.unstick = async () => {
    for (const entry of await phone.entries()) if (entry.stuck) await phone.stick(entry, "");
  };

  // The desk has them: they may go. `said` are sentences that somebody ought to read.
  phone.drop = async (ids, said = []) => {
    if (!ids.length && !said.length) return;
    await within("readwrite", ({ entries, facts }) => {
      for (const id of ids) entries.delete(id);
      if (!said.length) return;
      facts.get("said").onsuccess = (event) => {
        const value = [...(event.target.result?.value ?? []), ...said].slice(-5);
        facts.put({ name: "said", value });
      };
    });
    tell();
  };

  // Entries that go back to their form, with their photographs, in one step.
  phone.withdraw = async (ids) => {
    if (!ids.length) return;
    await within("readwrite", ({ entries, photos }) => {
      for (const id of ids) entries.delete(id);
      deleteWhere(photos, (photo) => ids.includes(photo.entry));
    });
    tell();
  };

  phone.dropPhotos = async (ids) => {
    await within("readwrite", ({ photos }) => {
      for (const id of ids) photos.delete(id);
    });
    tell();
  };

  function deleteWhere(store, goes) {
    store.openCursor().onsuccess = (event) => {
      const at = event.target.result;
      if (!at) return;
      if (goes(at.value)) at.delete();
      at.continue();
    };
  }

  // What one person has here, where somebody else's entries wait too: those stay, locked to them.
  phone.forgetOnly = (user) =>
    within("readwrite", ({ entries, photos, facts }) => {
      for (const store of [entries, photos]) deleteWhere(store, (row) => row.user === user);
      for (const name of ["user", "until", "day", "keep", "tags", "keptAt", "freshAt", "said"]) facts.delete(name);
    });

  phone.forgetAll = async () => {
    const base = await open();
    base.close();
    forget();
    await new Promise((done) => {
      const asked = indexedDB.deleteDatabase("phone");
      asked.onsuccess = asked.onerror = asked.onblocked = done;
    });
  };
})(self.phone);
