// The texts that the page brings along, and small pieces to show them with.
"use strict";
self.phone = self.phone || {};

((phone) => {
  // A text of the page, with its places filled: {n} and the like.
  phone.word = (name, values = {}) => {
    const text = document.getElementById("phone-words").dataset[name] || "";
    return text.replace(/\{(\w+)\}/g, (place, key) => (key in values ? values[key] : place));
  };

  // The text of a count: `name` with One or Many.
  phone.count = (name, n) => phone.word(name + (n === 1 ? "One" : "Many"), { n });

  phone.element = (name, text = "", attributes = {}) => {
    const made = document.createElement(name);
    made.textContent = text;
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    return made;
  };

  phone.clockTime = (ms) => {
    const at = new Date(ms);
    return [at.getHours(), at.getMinutes()].map((part) => String(part).padStart(2, "0")).join(":");
  };
})(self.phone);
