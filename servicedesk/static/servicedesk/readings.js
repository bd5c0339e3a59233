// Says under each reading at once what the desk would ask of it, by the desk's bounds and in its words.
(function () {
  "use strict";
  var NUMBER = "([-+−]?(?:\\d+(?:[.,]\\d*)?|[.,]\\d+))", UNIT = "\\s*([a-z³\"/](?:[^\\d−–-]|3)*?)?\\s*";
  var ONE = new RegExp("^" + NUMBER + UNIT + "$", "i");
  var TWO = new RegExp("^" + NUMBER + UNIT + "[-−–]\\s*" + NUMBER + UNIT + "$", "i");

  function plain(text) { return parseFloat(text.replace(",", ".").replace("−", "-")); }

  function factor(how, unit) { return unit ? how.units[unit.toLowerCase()] : how.per; }

  // The reading in SI and in which unit it was typed, or null.
  function read(input) {
    var how = JSON.parse(input.dataset.reads), typed = input.value.trim(), two = null;
    var found = ONE.exec(typed) || (how.two && (two = TWO.exec(typed)));
    if (!found) { return null; }
    var unit = found[2] || (two && two[4]), per = factor(how, unit), lastPer = factor(how, two && two[4] || unit);
    if (!per || !lastPer) { return null; }
    var value = plain(found[1]) * per - (two ? plain(two[3]) * lastPer : 0), says = how.says;
    var odd = !unit && value && (value < how.usual[0] || how.usual[1] && value > how.usual[1]);
    var fault = value < 0 ? says.negative : how.most && value > how.most ? says.most : odd ? says.usual : "";
    return { value: value, per: per, two: two, how: how, fault: fault.split("{typed}").join(typed) };
  }

  function show(value, how, other) {
    return other ? (value / how.otherPer).toFixed(how.otherDigits) + " " + how.other
      : (value / how.per).toFixed(how.digits) + " " + how.unit;
  }

  // What it comes to in the other unit, after what a subtraction comes to in its own.
  function worth(got) {
    var other = got.per !== got.how.per;
    return (got.two ? "= " + show(got.value, got.how, other) + " " : "") + "= " + show(got.value, got.how, !other);
  }

  function asked(form, rule, how) {
    function value(name) {
      var got = form.elements[name] && read(form.elements[name]);
      return got && !got.fault ? got.value : null;
    }
    function holds(pair) {
      var field = form.elements[pair[0]];
      var text = !field ? "" : field.type === "checkbox" ? (field.checked ? "on" : "") : field.value;
      return pair[1] === "*" ? text : text === pair[1];
    }
    var given = rule.names.map(value).filter(function (one) { return one !== null; });
    var per = rule.beside ? value(rule.beside) : 1;
    var sum = given.reduce(function (one, more) { return one + more; }, 0);
    if (!given.length || !per || !rule.only.every(holds)) { return ""; }
    if (rule.low !== null && sum < rule.low * per || rule.high !== null && sum > rule.high * per) { return ""; }
    return rule.text.replace("{value}", show(sum, how)).replace("{share}", Math.round(100 * sum / rule.of));
  }

  function made(tag, kind) {
    var one = document.createElement(tag);
    one.className = kind;
    return one;
  }

  function place(input) {
    var at = made("div", "says");
    at.id = input.id + "_says";
    at.setAttribute("role", "status");
    input.closest(".field").append(at);
    input.setAttribute("aria-describedby", ((input.getAttribute("aria-describedby") || "") + " " + at.id).trim());
  }

  // The box that answers questions comes with the first of them and goes with the last.
  function offerTick(box, wanted) {
    if (!box || !box.dataset.sure || (box.type === "checkbox") === wanted) { return; }
    box.type = wanted ? "checkbox" : "hidden";
    box.value = wanted ? "on" : "";
    if (!wanted) { box.closest(".field").replaceWith(box); return; }
    var field = made("div", "field"), label = made("label", "");
    box.before(field);
    label.append(box, " " + box.dataset.sure);
    field.append(label);
  }

  function look(form, changed) {
    var open = {};
    form.querySelectorAll("input[data-reads]").forEach(function (input) {
      var got = read(input), lines = [], sure = input.name.replace(/[^-]+$/, "sure");
      function say(text, kind) { lines.push(made("p", kind)); lines[lines.length - 1].textContent = text; }
      open[sure] = open[sure] || false;
      if (got) { say(worth(got), "worth"); }
      if (got && got.fault) { say(got.fault, "fault"); }
      (got && !got.fault ? JSON.parse(input.dataset.rules) : []).forEach(function (rule) {
        var text = asked(form, rule, got.how);
        if (text) { say(text, rule.note ? "note" : "asks"); }
        if (text && !rule.note) { open[sure] = true; }
      });
      var at = document.getElementById(input.id + "_says"), text = lines.map(function (one) { return one.textContent; });
      if (at.textContent !== text.join("")) { at.replaceChildren.apply(at, lines); }
      if (input === changed) { input.closest(".field").classList.add("told"); }
    });
    Object.keys(open).forEach(function (name) { offerTick(form.elements[name], open[name]); });
  }

  document.querySelectorAll("form:has(input[data-reads])").forEach(function (form) {
    form.querySelectorAll("input[data-reads]").forEach(place);
    form.addEventListener("change", function (event) { look(form, event.target); });
  });
})();
