// Says under each reading at once what the desk would ask of it, by its bounds and in its words.
(() => {
  "use strict";
  const READS = "input[data-reads]";
  // The same grammar as the desk's: shared.units.parse and equipment.fields.two_statics.
  const GROUPED = /^([-+]?[1-9]\d{0,2}(?:,\d{3})+)((?!\d|,\d).*)$/;
  const TYPED = /^\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?)\s*(.*?)\s*$/i;
  const MINUS = /\s*[-–−]\s*/g;

  // One comma before three figures parts thousands of an airflow, and may be either in all else: null then.
  function withoutCommas(text, how) {
    const grouped = GROUPED.exec(text);
    if (!grouped) { return text.replace(/^([-+]?\d*),(?=\d)/, "$1."); }
    const sure = how.thousands || grouped[1].split(",").length > 2 || grouped[2].startsWith(".");
    return sure ? grouped[1].replaceAll(",", "") + grouped[2] : null;
  }

  // Number and unit as typed, or null; `either` where a comma may be either.
  function parts(text, how) {
    const plain = withoutCommas(text.trim().replaceAll("−", "-"), how);
    if (plain === null) { return { either: true }; }
    const found = TYPED.exec(plain);
    return found && (!found[2] || how.units[found[2].toLowerCase()]) ? { number: Number(found[1]), unit: found[2] } : null;
  }

  const factor = (how, unit) => unit ? how.units[unit.toLowerCase()] : how.per;

  function halves(text, how) {
    for (const minus of how.two ? text.matchAll(MINUS) : []) {
      if (!minus.index) { continue; }
      const one = parts(text.slice(0, minus.index), how), other = parts(text.slice(minus.index + minus[0].length), how);
      if (one && other && !one.either && !other.either) { return [one, other]; }
    }
    return null;
  }

  // The reading in SI and in which unit it was typed, null for nothing; without a value it cannot be read.
  function read(input) {
    const how = JSON.parse(input.dataset.reads), typed = input.value.trim(), says = how.says;
    if (!typed) { return null; }
    const one = parts(typed, how), two = !one && halves(typed, how);
    const told = text => ({ value: null, how, fault: text.replaceAll("{typed}", typed) });
    if (!one && !two) { return told(says.unread); }
    if (one && one.either) { return told(says.comma); }
    const unit = two ? two[0].unit || two[1].unit : one.unit, per = factor(how, unit);
    const value = two ? two[0].number * per - two[1].number * factor(how, two[1].unit || unit) : one.number * per;
    const odd = !unit && value && (value < how.usual[0] || value > how.usual[1]);
    const fault = value < 0 ? says.negative : value > how.most ? says.most : odd ? says.usual : "";
    return { value, per, two, how, fault: fault.replaceAll("{typed}", typed) };
  }

  const show = (value, how, other) => other ? `${(value / how.otherPer).toFixed(how.otherDigits)} ${how.other}`
    : `${(value / how.per).toFixed(how.digits)} ${how.unit}`;

  // What it comes to in the other unit, after what a subtraction comes to in its own.
  function worth(got) {
    const other = got.per !== got.how.per;
    return (got.two ? `= ${show(got.value, got.how, other)} ` : "") + `= ${show(got.value, got.how, !other)}`;
  }

  function asked(form, rule, how) {
    function value(name) {
      const got = form.elements[name] && read(form.elements[name]);
      return got && !got.fault ? got.value : null;
    }
    function holds(pair) {
      const field = form.elements[pair[0]];
      const text = !field ? "" : field.type === "checkbox" ? (field.checked ? "on" : "") : field.value;
      return pair[1] === "*" ? text : text === pair[1];
    }
    const given = rule.names.map(value).filter(one => one !== null), sum = given.reduce((a, b) => a + b, 0);
    const per = rule.beside ? value(rule.beside) : 1;
    if (!given.length || !per || !rule.only.every(holds)) { return ""; }
    if (rule.two && !read(form.elements[rule.names[0]]).two) { return ""; }
    if (sum < rule.low * per || sum > rule.high * per) { return ""; }
    return rule.text.replace("{value}", show(sum, how)).replace("{share}", Math.round(100 * sum / rule.of));
  }

  const made = (tag, looks) => Object.assign(document.createElement(tag), looks);

  function place(input) {
    const at = made("div", { className: "says", id: input.id + "_says", role: "status" });
    input.closest(".field").append(at);
    input.setAttribute("aria-describedby", `${input.getAttribute("aria-describedby") || ""} ${at.id}`.trim());
    letters(input);
  }

  // A keypad of figures has no minus and no letters: a tap on the unit brings the whole keyboard, and back.
  function letters(input) {
    const unit = input.parentElement.querySelector(".unit"), how = JSON.parse(input.dataset.reads);
    if (!unit) { return; }
    const tap = made("button", { type: "button", className: "unit", textContent: unit.textContent });
    tap.setAttribute("aria-label", `${unit.textContent}: ${how.says.keys}`);
    tap.addEventListener("click", () => {
      input.inputMode = input.inputMode === "text" ? "decimal" : "text";
      input.blur();
      input.focus();
    });
    unit.replaceWith(tap);
  }

  // The box that answers questions comes with the first of them and goes with the last.
  function offerTick(box, wanted) {
    if (!box || !box.dataset.sure || (box.type === "checkbox") === wanted) { return; }
    box.type = wanted ? "checkbox" : "hidden";
    box.value = wanted ? "on" : "";
    box.checked = false;
    if (!wanted) { return box.closest(".field").replaceWith(box); }
    const field = made("div", { className: "field" }), label = made("label");
    box.before(field);
    label.append(box, " " + box.dataset.sure);
    field.append(label);
  }

  function look(form, changed) {
    const open = {};
    form.querySelectorAll(READS).forEach(input => {
      const got = read(input), lines = [], sure = input.name.replace(/[^-]+$/, "sure");
      const say = (text, kind) => lines.push(made("p", { className: kind, textContent: text }));
      open[sure] = open[sure] || false;
      if (got && got.value !== null) { say(worth(got), "worth"); }
      if (got && got.fault) { say(got.fault, "fault"); }
      for (const rule of got && !got.fault ? JSON.parse(input.dataset.rules) : []) {
        const text = asked(form, rule, got.how);
        if (text) { say(text, rule.note ? "note" : "asks"); }
        if (text && !rule.note) { open[sure] = true; }
      }
      const at = document.getElementById(input.id + "_says"), text = lines.map(one => one.textContent);
      if (at.textContent !== text.join("")) { at.replaceChildren(...lines); }
      if (input === changed) { input.closest(".field").classList.add("told"); }
    });
    for (const name in open) { offerTick(form.elements[name], open[name]); }
  }

  // What cannot be is not sent, nor queued where there is no signal: it could not be asked about later.
  const hold = input => input.setCustomValidity(read(input)?.fault || "");

  document.querySelectorAll(`form:has(${READS})`).forEach(form => {
    form.querySelectorAll(READS).forEach(input => { place(input); hold(input); });
    form.addEventListener("input", event => { if (event.target.matches(READS)) { hold(event.target); } });
    form.addEventListener("invalid", event => { event.target.closest("details:not([open])")?.setAttribute("open", ""); }, true);
    // Not before a tap on a button has ended, which a line more would move from under the finger.
    form.addEventListener("change", event => setTimeout(look, 250, form, event.target));
  });
})();
