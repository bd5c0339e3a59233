// One quiet line on the page: what is on this phone, what waits, and what the desk said of it.
"use strict";

((phone) => {
  const user = () => Number(document.body.dataset.user || 0);

  function button(text, press) {
    const made = phone.element("button", text, { type: "button", class: "quiet" });
    made.addEventListener("click", press);
    return made;
  }

  async function sendNow(event) {
    event.target.disabled = true;
    await phone.unstick();
    await phone.soon();
    setTimeout(() => (event.target.disabled = false), 1000);
  }

  async function sentences() {
    const said = [];
    const { sheet, stops, kept, since } = await phone.keptCount();
    const copy = Number(document.body.dataset.kept || 0);
    if (copy) said.push(phone.word("copy", { at: phone.clockTime(copy) }));
    else if (sheet) said.push(phone.word("onPhone", { at: phone.clockTime(since), n: kept, all: stops }));
    return said;
  }

  async function waiting() {
    const rows = await phone.entries();
    const pictures = await phone.photos();
    return {
      own: rows.filter((entry) => entry.user === user() && !entry.stuck),
      stuck: rows.filter((entry) => entry.user === user() && entry.stuck),
      others: rows.filter((entry) => entry.user !== user()),
      photos: pictures.filter((photo) => photo.user === user()),
    };
  }

  phone.waiting = waiting;

  function markSheet(own) {
    for (const mark of document.querySelectorAll(".unsent")) mark.remove();
    for (const visit of new Set(own.map((entry) => entry.visit))) {
      const stop = document.querySelector(`a.go[href="/visits/${visit}/"]`)?.closest("li");
      stop?.querySelector(".when")?.append(" ", phone.element("span", phone.word("unsent"), { class: "unsent small" }));
    }
  }

  async function draw() {
    const line = document.getElementById("phone-line");
    if (!line) return;
    const said = await sentences();
    const { own, stuck, others, photos } = await waiting();
    if (own.length) said.push(phone.count("wait", own.length));
    else if (photos.length) said.push(phone.count("photos", photos.length));
    if (stuck.length) said.push(phone.count("stuck", stuck.length));
    if (others.length) said.push(phone.count("others", others.length));
    const { said: heard = [] } = await phone.facts();
    const parts = [phone.element("span", said.join(" · "))];
    if (own.length || photos.length || stuck.length) parts.push(button(phone.word("sendNow"), sendNow));
    for (const entry of stuck) {
      const href = entry.address || `/visits/${entry.visit}/`;
      if (href !== location.pathname) parts.push(phone.element("a", phone.word("openIt", { title: entry.title }), { href }));
    }
    for (const text of heard) parts.push(phone.element("span", text, { class: "heard" }));
    if (heard.length) parts.push(button(phone.word("read"), () => phone.note({ said: [] }).then(phone.tell)));
    // Read out when it says something new, not at every look.
    const now = parts.map((part) => part.textContent).join("|");
    if (line.dataset.said !== now) line.replaceChildren(...parts);
    line.dataset.said = now;
    line.hidden = !said.length && !heard.length;
    markSheet(own);
    phone.expect(own.length + photos.length);
  }

  let drawing = Promise.resolve();

  // One after the other, so that an older look never overwrites a newer one.
  phone.draw = () => {
    drawing = drawing.then(draw, draw);
    return drawing;
  };
})(self.phone);
