// A kept entry back in its form. It stays on the phone, held back by a lock that ends with the page, and keeps its id
// and its hour: whatever the desk has of it already, it is known again.
"use strict";

((phone) => {
  const ENDS = ["completed", "no_access", "displaced"];
  const PASSED = ["FIELDSET", "BUTTON", "OUTPUT"];
  const releases = new Map();

  // A visit ends once: its two ends are one entry.
  phone.isEnd = (kind) => ENDS.includes(kind);

  // Whether the entry is held now; false where another page has it open.
  function hold(id) {
    if (releases.has(id)) return Promise.resolve(true);
    return new Promise((done) => {
      navigator.locks.request(phone.openName(id), { ifAvailable: true }, (lock) => {
        done(Boolean(lock));
        return lock && new Promise((release) => releases.set(id, release));
      });
    });
  }

  phone.letGo = (id) => {
    releases.get(id)?.();
    releases.delete(id);
  };

  function put(control, values) {
    if (["checkbox", "radio"].includes(control.type)) control.checked = values.includes(control.value);
    else if (control.tagName !== "SELECT") control.value = values[0] ?? "";
    else if ([...control.options].some((option) => option.value === values[0])) control.value = values[0];
    for (const name of ["input", "change"]) control.dispatchEvent(new Event(name, { bubbles: true }));
  }

  // What was written, into the form; what the form does not ask for any more goes along unseen.
  function fill(form, fields) {
    for (const name of Object.keys(fields)) {
      if (/(^|-)sure$/.test(name) && fields[name].includes("on")) phone.askSure(form, name.slice(0, -"sure".length));
    }
    const names = new Set();
    for (const control of form.elements) {
      if (!control.name || PASSED.includes(control.tagName)) continue;
      names.add(control.name);
      if (!["hidden", "file"].includes(control.type)) put(control, fields[control.name] || []);
    }
    if (fields.units && form.elements.units) form.elements.units.value = fields.units[0];
    for (const [name, values] of Object.entries(fields)) {
      if (names.has(name)) continue;
      for (const value of values) form.append(phone.element("input", "", { type: "hidden", name, value }));
    }
  }

  // A chosen file does not come back into its field, but it is still here.
  function tellPhotos(form, photos) {
    for (const input of form.querySelectorAll('input[type="file"]')) {
      const n = photos.filter((photo) => input.name === `slot${photo.slot}-photo`).length;
      input.parentElement.querySelector(".keeps")?.remove();
      if (n) input.after(phone.element("p", phone.count("photosKept", n), { class: "small keeps" }));
    }
  }

  function show(form, id, at) {
    (form.closest("section") || form).hidden = false;
    Object.assign(form.dataset, { id, at });
  }

  async function open(box, form, id) {
    const held = await hold(id);
    const entry = held && (await phone.entries()).find((one) => one.id === id);
    if (!entry) {
      if (held) phone.letGo(id);
      box.querySelector("p").textContent = phone.word(held ? "left" : "openElsewhere");
      return;
    }
    phone.busy(form, false);
    box.replaceWith(form);
    fill(form, entry.fields);
    tellPhotos(form, (await phone.photos()).filter((photo) => photo.entry === id));
    for (const other of document.querySelectorAll("form[data-entry]")) {
      if (other === form || (phone.isEnd(entry.kind) && phone.isEnd(other.dataset.entry))) show(other, id, entry.at);
    }
    form.querySelector("input:not([type=hidden]), textarea, select")?.focus();
  }

  // The button that opens a kept entry again in the form that it came from.
  phone.openAgain = (box, form, entry) => {
    const button = phone.element("button", phone.word("openAgain"), { type: "button", class: "quiet" });
    button.addEventListener("click", async () => {
      button.disabled = true;
      await open(box, form, entry.id);
      button.disabled = false;
    });
    return button;
  };
})(self.phone);
