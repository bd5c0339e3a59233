// Tables sort by a column's head and lists by their parts, and both are taken along as a sheet. Without script
// they are read as they stand.
"use strict";
(() => {
  const words = document.currentScript.dataset;
  const language = document.documentElement.lang || "en";
  // The months as the page writes them, whole and short, in the order of the year.
  const MONTHS = ["long", "short"].map((month) => {
    const format = new Intl.DateTimeFormat(language, { month, timeZone: "UTC" });
    return Array.from({ length: 12 }, (_none, at) => plainly(format.format(Date.UTC(2001, at, 15))));
  });
  const FEWEST_ROWS = 3;
  const FEWEST_ENTRIES = 2;
  // A day's own list is short, and its order is the day's.
  const FEWEST_OF_A_HEAD = 6;
  // What a spreadsheet would run is given a mark before it, as the sheets of the desk do.
  const RUNS = /^[=+@\t\r]|^-(?![\d.,]+$)/;

  // What lies in a closed fold has no inner text.
  const read = (cell) => (cell ? (cell.innerText || cell.textContent).replace(/\s+/g, " ").trim() : "");

  function plainly(word) {
    return word.toLocaleLowerCase(language).replace(".", "");
  }

  const DAY = /^(?:(\d{1,2})(?: de)? )?(\p{L}+)\.?(?: de)? (\d{4})(?!\d)/u;

  function dayOf(text) {
    const [, day, month, year] = DAY.exec(text) ?? [];
    const at = month ? Math.max(...MONTHS.map((names) => names.indexOf(plainly(month)))) : -1;
    return at < 0 ? null : Date.UTC(year, at, day ?? 1);
  }

  // A day by its place in time, a number by its size, all else by its letters; what is empty comes last.
  function worth(cell) {
    const text = cell?.dataset.value ?? read(cell);
    if (text === "" || text === "–") return null;
    if (/^\d{4}-\d\d-\d\d/.test(text)) return Date.parse(text.slice(0, 10));
    const [, hour, minute] = /^(\d{1,2}):(\d\d)(?!\d)/.exec(text) ?? [];
    if (minute) return Number(hour) * 60 + Number(minute);
    // A size goes by all of its figures.
    const number = /^\d[\d.]* ?[×x] ?\d/.test(text) ? null : /^[+−-]?[\d.,]*\d/.exec(text);
    const day = dayOf(text);
    if (day !== null || !number) return day ?? text;
    return Number(number[0].replace("−", "-").replaceAll(",", ""));
  }

  function beside(one, other) {
    if (typeof one === "number" && typeof other === "number") return one - other;
    if (typeof one === typeof other) return one.localeCompare(other, language, { numeric: true });
    return typeof one === "number" ? -1 : 1;
  }

  // Rows by the worth of each, up or down; what is empty stays at the end.
  function ordered(rows, valueOf, down) {
    const valued = [...rows].map((row) => [valueOf(row), row]);
    const [there, empty] = [valued.filter(([value]) => value !== null), valued.filter(([value]) => value === null)];
    there.sort(([one], [other]) => (down ? -1 : 1) * beside(one, other));
    return [...there, ...empty].map(([, row]) => row);
  }

  function sort(table, head, at) {
    const down = head.getAttribute("aria-sort") === "ascending";
    const body = table.tBodies[0];
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    body.append(...ordered(body.rows, (row) => worth(row.cells[at]), down));
  }

  function sorter(words, pressed) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "sorts";
    button.append(...words);
    button.addEventListener("click", () => pressed(button));
    return button;
  }

  function headed(table) {
    [...table.tHead.rows[0].cells].forEach((head, at) => {
      if (acts(head) || !read(head)) return;
      head.append(sorter(head.childNodes, () => sort(table, head, at)));
    });
  }

  const acts = (cell) => cell.classList.contains("acts");

  // Numbers as spreadsheets know them: no plus, a plain minus.
  const NUMBER = /^[+−-]?[\d.,]*\d$/;
  const plain = (text) => (NUMBER.test(text) ? text.replace("+", "").replace("−", "-") : text);
  const safe = (text) => (RUNS.test(text) ? `'${text}` : text);
  const quoted = (text) => `"${safe(plain(text)).replaceAll('"', '""')}"`;

  // Where every figure of a column has the same unit, the unit goes into its head.
  function columns(table) {
    return [...table.tHead.rows[0].cells].flatMap((head, at) => {
      if (acts(head)) return [];
      const cells = [...table.tBodies[0].rows].map((row) => read(row.cells[at]));
      const parts = cells.map((text) => /^([+−-]?[\d.,]*\d) (\D.*)$/.exec(text));
      const units = new Set(cells.map((text, row) => (text && text !== "–" ? parts[row]?.[2] : "")));
      units.delete("");
      const one = units.size === 1 && !units.has(undefined) ? [...units][0] : "";
      return [[one ? `${read(head)}, ${one}` : read(head), ...cells.map((text, row) => (one && parts[row]?.[1]) || text)]];
    });
  }

  function sheet(all) {
    const rows = all[0].map((_head, row) => all.map((column) => quoted(column[row])).join(","));
    return new Blob([`\ufeff${rows.join("\r\n")}\r\n`], { type: "text/csv;charset=utf-8" });
  }

  function taken(place, name, columnsNow, said = words.sheet) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "linklike small noprint as-sheet";
    button.textContent = said;
    button.addEventListener("click", () => {
      const link = document.createElement("a");
      link.href = URL.createObjectURL(sheet(columnsNow()));
      link.download = `${name}.csv`;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    });
    place.after(button);
  }

  for (const table of document.querySelectorAll("main table[data-name]")) {
    if (!table.tHead || table.querySelector("td.none") || table.rows.length < FEWEST_ROWS) continue;
    if (!table.hasAttribute("data-unsorted")) headed(table);
    if (!table.hasAttribute("data-has-sheet")) taken(table, table.dataset.name, () => columns(table));
  }

  // A list's parts: what its lines say side by side, by the names in data-columns.
  const parts = (list) => list.dataset.columns.split("|");
  // Each line of a part is a column of its own on the sheet, so that it can be sorted and summed there.
  function spread(name, cells) {
    const lines = cells.map((cell) => cell.split("; "));
    const width = Math.max(...lines.map((line) => line.length));
    return Array.from({ length: width }, (_none, at) => [
      at ? `${name} ${at + 1}` : name,
      ...lines.map((line) => line[at] ?? ""),
    ]);
  }

  const entries = (list) => [...list.children].filter((line) => !line.classList.contains("none"));

  // What a part says, without what is pressed in it.
  function said(part) {
    if (!part) return "";
    const copy = part.cloneNode(true);
    copy.querySelectorAll("form, details, button, .noprint").forEach((gone) => gone.remove());
    copy.querySelectorAll("br, strong, p").forEach((end) => end.after("; "));
    return copy.textContent.replace(/\s+/g, " ").replace(/(?: ?; ?)+/g, "; ").replace(/^; |; $|^;$/g, "").trim();
  }

  const value = (text) => worth({ dataset: { value: text } });

  function order(list) {
    const line = document.createElement("p");
    line.className = "small noprint order";
    line.append(words.order, " ");
    parts(list).forEach((name, at) => {
      const button = sorter([name], () => {
        const down = button.getAttribute("aria-pressed") === "true" && button.dataset.way === "up";
        line.querySelectorAll("button").forEach((other) => other.removeAttribute("data-way"));
        line.querySelectorAll("button").forEach((other) => other.setAttribute("aria-pressed", "false"));
        button.dataset.way = down ? "down" : "up";
        button.setAttribute("aria-pressed", "true");
        list.append(...ordered(entries(list), (entry) => value(said(entry.children[at])), down));
      });
      button.setAttribute("aria-pressed", "false");
      line.append(button, " ");
    });
    list.before(line);
  }

  // Lists of one name are one sheet; where each stands under a head of its own, that is its first column.
  function listed(lists) {
    const heads = lists.map((list) => list.dataset.head ?? "");
    const names = [...(heads.some(Boolean) ? [words.group] : []), ...parts(lists[0])];
    const rows = lists.flatMap((list, place) =>
      entries(list).map((entry) => [
        ...(heads.some(Boolean) ? [heads[place]] : []),
        ...parts(list).map((_name, at) => said(entry.children[at])),
      ]),
    );
    return names.flatMap((name, at) => spread(name, rows.map((row) => row[at])));
  }

  const many = (list) => entries(list).length >= FEWEST_ENTRIES;
  const sortable = (list) =>
    entries(list).length >= (list.dataset.head ? FEWEST_OF_A_HEAD : FEWEST_ENTRIES) && !list.hasAttribute("data-unsorted");
  const all = [...document.querySelectorAll("main ol[data-columns]")];
  for (const name of new Set(all.map((list) => list.dataset.name))) {
    const lists = all.filter((list) => list.dataset.name === name);
    lists.filter(sortable).forEach(order);
    if (lists.length < 2 && !many(lists[0])) continue;
    const last = lists.at(-1);
    const said = last.hasAttribute("data-paged") ? words.page : words.sheet;
    taken(last.closest("section") ?? last, name, () => listed(lists), said);
  }
})();

// The fold of places shuts by Escape and by a press beside it.
(() => {
  const shut = () => document.querySelectorAll("details.more[open]").forEach((fold) => fold.removeAttribute("open"));
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape") shut();
  });
  document.addEventListener("click", (event) => {
    if (!event.target.closest("details.more")) shut();
  });
})();
