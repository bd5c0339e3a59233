// Signing out: first what waits goes to the desk; what cannot go is named before anything is lost.
"use strict";

((phone) => {
  const TRY_MS = 8000;
  const OWED = "sign-out-owed";
  const user = () => Number(document.body.dataset.user || 0);

  // True where the person wants to go on all the same.
  function ask(texts, go) {
    const box = phone.element("dialog", "", { class: "caution", "aria-label": phone.word("leave") });
    for (const text of texts) box.append(phone.element("p", text));
    const stay = phone.element("button", phone.word("stay"), { value: "" });
    const leave = phone.element("button", go, { value: "go", class: "quiet" });
    const form = phone.element("form", "", { method: "dialog", class: "actions" });
    form.append(stay, leave);
    box.append(form);
    document.body.append(box);
    return new Promise((done) => {
      box.addEventListener("close", () => {
        box.remove();
        done(box.returnValue === "go");
      });
      box.showModal();
    });
  }

  function owe() {
    try {
      localStorage.setItem(OWED, "1");
    } catch {
      // The session then ends when somebody signs out again.
    }
  }

  function owed() {
    try {
      const is = localStorage.getItem(OWED);
      localStorage.removeItem(OWED);
      return is;
    } catch {
      return null;
    }
  }

  async function leave(form, reached, others) {
    await phone.clear({ only: others ? user() : 0 });
    if (reached) {
      if (others) form.append(phone.element("input", "", { type: "hidden", name: "others", value: "1" }));
      form.submit();
      return;
    }
    owe();
    const said = phone.element("p", phone.word("cleared"), { class: "caution", role: "alert" });
    document.getElementById("main").replaceChildren(said);
  }

  async function out(form) {
    const sent = await phone.send({ limit: TRY_MS });
    if (sent.state === "sent") await phone.sendPhotos(sent.told, { limit: TRY_MS });
    const { own, stuck, others, photos } = await phone.waiting();
    const reached = sent.state !== "no-signal" || Boolean(sent.told);
    const left = own.length + stuck.length;
    const texts = [];
    if (left) texts.push(phone.count("lost", left));
    if (photos.length) texts.push(phone.count("lostPhotos", photos.length));
    if (!reached) texts.push(phone.word("noSignOut"));
    if (texts.length && !(await ask(texts, phone.word(reached ? "leaveAnyway" : "clearAnyway")))) return;
    await leave(form, reached, others.length);
  }

  phone.watchLeaving = () => {
    const form = document.querySelector("form.out");
    if (!form) return;
    form.addEventListener("submit", async (event) => {
      event.preventDefault();
      const button = form.querySelector("button");
      if (button.disabled) return;
      button.disabled = true;
      try {
        await out(form);
      } catch {
        form.submit(); // the desk's answer clears the phone all the same
      } finally {
        button.disabled = false;
      }
    });
    // A sign-out without signal: the session ends at the first page that is there again.
    if (!document.body.dataset.kept && owed()) form.submit();
  };
})(self.phone);
