// The forms of a visit: kept on the phone first, then sent; what the desk asks about is shown beside its field.
"use strict";

((phone) => {
  const TRY_MS = 8000;
  const QUICK_MS = 1500;
  const BREATH_MS = 600;
  const HINT_MS = 300;
  const user = () => Number(document.body.dataset.user || 0);

  function fieldsOf(form, button) {
    const fields = {};
    for (const [name, value] of new FormData(form)) {
      // A photograph goes by itself; that it was chosen is told.
      const told = typeof value === "string" ? value : value.size ? value.name : null;
      if (told !== null && name !== "csrfmiddlewaretoken") (fields[name] ||= []).push(told);
    }
    if (button?.name) (fields[button.name] ||= []).push(button.value);
    return fields;
  }

  function labelOf(control) {
    const label = control.labels?.[0];
    return label ? label.textContent.replace(/\s+/g, " ").trim() : control.name;
  }

  function valueOf(control) {
    if (control.type === "checkbox") {
      return control.checked || control.defaultChecked ? phone.word(control.checked ? "yes" : "no") : "";
    }
    if (control.type === "file") return control.files.length ? String(control.files.length) : "";
    if (control.tagName === "SELECT") return control.value && control.selectedOptions[0].textContent.trim();
    const unit = control.parentElement.querySelector(".unit")?.textContent.trim();
    return control.value && unit && /^[\d.,\s-]+$/.test(control.value) ? `${control.value} ${unit}` : control.value;
  }

  // What corrects a thing that is ticked, [texts, whether it cannot wait]; nothing where the page says none.
  function adviceOf(control) {
    const found = control.checked && control.parentElement.querySelector(":scope > .corrects");
    if (!found) return null;
    const texts = found.children.length ? [...found.children].map((part) => part.textContent) : [found.textContent];
    return [texts, found.classList.contains("caution")];
  }

  // What a person sees of a form, as [heading, label, value, advice] lines, to be shown where the form stood.
  function shownOf(form) {
    const lines = [];
    for (const control of form.elements) {
      const seen = control.name && control.type !== "hidden" && !["FIELDSET", "BUTTON"].includes(control.tagName);
      if (!seen || (control.type === "radio" && !control.checked)) continue;
      const value = valueOf(control);
      const heading = control.closest("fieldset, details")?.querySelector("legend, summary");
      if (value) lines.push([heading?.textContent.replace(/\s+/g, " ").trim() || "", labelOf(control), value, adviceOf(control)]);
    }
    return lines;
  }

  function adviceBox(texts, atOnce) {
    const box = phone.element("dd", "", { class: atOnce ? "corrects caution" : "corrects small" });
    for (const text of texts) box.append(phone.element(atOnce && text === texts[0] ? "strong" : "p", text));
    return box;
  }

  function panel(form, entry, said, next) {
    const box = phone.element("section", "", { class: "caution kept", role: "status", tabindex: "-1" });
    box.append(phone.element("p", said));
    box.append(phone.element("p", phone.word("written", { at: phone.clockTime(entry.at) }), { class: "small faint" }));
    let heading = null;
    let list = null;
    for (const [under, label, value, advice] of entry.shown || []) {
      if (!list || under !== heading) {
        heading = under;
        if (under) box.append(phone.element("h3", under));
        list = phone.element("dl", "", { class: "facts" });
        box.append(list);
      }
      list.append(phone.element("dt", label), phone.element("dd", value));
      if (advice) list.append(adviceBox(...advice));
    }
    const way = phone.element("p", "", { class: "actions" });
    if (!next && entry.kind !== "arrived") way.append(phone.openAgain(box, form, entry));
    way.append(phone.element("a", phone.word(next ? "onward" : "back"), { href: next || "/" }));
    box.append(way);
    return box;
  }

  function replace(form, entry, said, next = "") {
    const box = panel(form, entry, said, next);
    form.replaceWith(box);
    if (phone.isEnd(entry.kind)) {
      // The other ways to end the visit go with the form.
      for (const other of document.querySelectorAll("form[data-entry]")) (other.closest("section") || other).hidden = true;
    }
    return box;
  }

  function clearFaults(form) {
    for (const fault of form.querySelectorAll(".error")) fault.remove();
    for (const control of form.querySelectorAll("[aria-invalid]")) control.removeAttribute("aria-invalid");
  }

  // The question "did you look again?" stands hidden in the form until it is asked.
  phone.askSure = (form, prefix) => {
    const hidden = form.elements[`${prefix}sure`];
    if (!hidden || hidden.type !== "hidden") return;
    const field = phone.element("div", "", { class: "field" });
    const label = phone.element("label");
    const box = phone.element("input", "", { type: "checkbox", name: hidden.name, id: `id_${hidden.name}` });
    label.append(box, ` ${hidden.dataset.sure || phone.word("sure")}`);
    field.append(label);
    (form.querySelector(`[name="${prefix}airflow"]`)?.closest(".fields") || hidden.parentElement).append(field);
    hidden.remove();
  };

  function placeOf(form, name) {
    const found = form.elements[name];
    const control = found instanceof RadioNodeList ? found[0] : found;
    if (control && control.type !== "hidden") return { control, field: control.closest(".field") || control.parentElement };
    const prefix = name.includes("-") ? name.slice(0, name.indexOf("-") + 1) : "";
    const near = prefix && form.querySelector(`[name^="${CSS.escape(prefix)}"]`);
    return { control: null, field: near?.closest("fieldset, details") || form };
  }

  // What the desk says outranks the hint from before, which comes a moment after the last change.
  function withoutHint(field) {
    field.classList.remove("told");
    field.querySelector(".says")?.replaceChildren();
  }

  function showFaults(form, faults) {
    clearFaults(form);
    let first = null;
    for (const [name, texts] of Object.entries(faults)) {
      if (name === "sure" || name.endsWith("-sure")) phone.askSure(form, name.slice(0, -"sure".length));
      const { control, field } = placeOf(form, name);
      if (control) for (const wait of [0, HINT_MS]) setTimeout(withoutHint, wait, field);
      for (const text of texts) {
        const fault = phone.element("p", text, { class: "error", role: "alert" });
        if (control) {
          fault.id = `${control.id}_error`;
          control.setAttribute("aria-invalid", "true");
          control.setAttribute("aria-describedby", `${fault.id} ${control.id}_says`);
          field.append(fault);
        } else {
          fault.tabIndex = -1;
          (field.querySelector(":scope > legend, :scope > summary") || field.firstElementChild).after(fault);
        }
        first ||= control || fault;
      }
      const fold = field.closest("details");
      if (fold) fold.open = true;
    }
    first?.focus();
  }

  phone.busy = (form, is) => {
    form.toggleAttribute("aria-busy", is);
    for (const button of form.querySelectorAll("button")) button.disabled = is;
  };

  function whyKept(sent) {
    if (sent.state === "signed-out") return phone.word("keptOut");
    if (sent.told && sent.told.user !== user()) return phone.word("keptOther");
    return phone.word("kept");
  }

  async function write(form, button) {
    const entry = {
      id: form.dataset.id,
      user: user(),
      visit: Number(form.dataset.visit || 0) || null,
      slot: Number(form.dataset.slot || 0) || null,
      kind: form.dataset.entry,
      at: Number(form.dataset.at) || Date.now(),
      address: location.pathname,
      fields: fieldsOf(form, button),
      shown: shownOf(form),
      title: form.dataset.title || document.querySelector("h1")?.textContent.trim() || "",
    };
    const about = { entry: entry.id, visit: entry.visit, user: entry.user, title: entry.title };
    await phone.add(entry, (await phone.pictures(form)).map((photo) => ({ ...photo, ...about })));
    return entry;
  }

  // A request that fails at once is often the first over a weak signal: one more is worth a breath.
  async function sendNow(id) {
    const began = performance.now();
    const sent = await phone.send({ here: id, limit: TRY_MS });
    const quick = performance.now() - began < QUICK_MS;
    if (sent.state !== "no-signal" || !quick || !navigator.onLine) return sent;
    await new Promise((done) => setTimeout(done, BREATH_MS));
    return phone.send({ here: id, limit: TRY_MS - QUICK_MS });
  }

  async function bring(form, entry) {
    const sent = await sendNow(entry.id);
    const answer = sent.answers[entry.id];
    if (answer?.state !== "ask") phone.letGo(entry.id);
    if (!answer) {
      const now = (await phone.entries()).find((one) => one.id === entry.id);
      replace(form, entry, now?.stuck ? phone.word("stuckHere") : whyKept(sent)).focus();
      phone.later();
    } else if (answer.state === "ask") {
      phone.busy(form, false);
      showFaults(form, answer.faults);
    } else if (answer.state === "taken") {
      // No wake here: the next page says what was done, and a copy fetched first would take its words.
      // Without a worker nobody sends the picture while the page changes.
      const worker = await navigator.serviceWorker.getRegistration();
      if (!worker?.active) await phone.sendPhotos(sent.told, { limit: TRY_MS });
      location.assign(answer.next || "/");
    } else {
      replace(form, entry, answer.said, answer.next || "/").focus();
      phone.wake();
    }
  }

  phone.watchForms = () => {
    document.addEventListener("submit", async (event) => {
      const form = event.target;
      if (!form.dataset.entry || event.defaultPrevented) return;
      event.preventDefault();
      if (form.hasAttribute("aria-busy")) return; // pressed twice
      form.dataset.id ||= crypto.randomUUID();
      let entry = null;
      try {
        const writing = write(form, event.submitter);
        phone.busy(form, true);
        entry = await writing;
      } catch (error) {
        phone.busy(form, false);
        if (error.faults) return showFaults(form, error.faults);
        form.submit(); // nothing can be kept here: as on a phone without all this
        return;
      }
      await bring(form, entry);
    });
  };

  // A form whose entry waits here shows what was written instead of asking for it again.
  phone.showWaiting = async () => {
    const waiting = await phone.entries();
    for (const form of document.querySelectorAll("form[data-entry]:not([aria-busy])")) {
      const { entry: kind, visit = "", slot = "" } = form.dataset;
      const of = (one) => String(one.visit || "") === visit && String(one.slot || "") === slot;
      const entry = waiting.find((one) => of(one) && one.kind === kind && one.user === user());
      if (entry && !form.dataset.id) replace(form, entry, phone.word(entry.stuck ? "stuckHere" : "kept"));
    }
  };
})(self.phone);
