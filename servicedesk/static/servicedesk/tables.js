// Tables sort by a column's head, and are taken along as a sheet. Without script they are read as they stand.
"use strict";
(() => {
  const words = document.currentScript.dataset;
  const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December"];
  const FEWEST_ROWS = 3;
  // What a spreadsheet would run is given a mark before it, as the sheets of the desk do.
  const RUNS = /^[=+@\t\r]|^-(?![\d.,]+$)/;

  // What lies in a closed fold has no inner text.
  const read = (cell) => (cell ? (cell.innerText || cell.textContent).replace(/\s+/g, " ").trim() : "");

  // A day by its place in time, a number by its size, all else by its letters; what is empty comes last.
  function worth(cell) {
    const text = cell?.dataset.value ?? read(cell);
    if (text === "" || text === "–") return null;
    const day = /^(\d{1,2}) ([A-Z][a-z]+) (\d{4})/.exec(text);
    if (day && MONTHS.includes(day[2])) return Date.UTC(day[3], MONTHS.indexOf(day[2]), day[1]);
    if (/^\d{4}-\d\d-\d\d/.test(text)) return Date.parse(text.slice(0, 10));
    const number = /^[+−-]?[\d.,]*\d/.exec(text);
    if (!number) return text.toLocaleLowerCase();
    return Number(number[0].replace("−", "-").replaceAll(",", ""));
  }

  function beside(one, other) {
    if (typeof one === typeof other) return one < other ? -1 : Number(one > other);
    return typeof one === "number" ? -1 : 1;
  }

  function sort(table, head, at) {
    const down = head.getAttribute("aria-sort") === "ascending";
    const body = table.tBodies[0];
    const rows = [...body.rows].map((row) => [worth(row.cells[at]), row]);
    const [there, empty] = [rows.filter(([value]) => value !== null), rows.filter(([value]) => value === null)];
    there.sort(([one], [other]) => (down ? -1 : 1) * beside(one, other));
    for (const other of table.tHead.rows[0].cells) other.removeAttribute("aria-sort");
    head.setAttribute("aria-sort", down ? "descending" : "ascending");
    body.append(...[...there, ...empty].map(([, row]) => row));
  }

  function headed(table) {
    [...table.tHead.rows[0].cells].forEach((head, at) => {
      if (acts(head) || !read(head)) return;
      const button = document.createElement("button");
      button.type = "button";
      button.className = "sorts";
      button.append(...head.childNodes);
      button.addEventListener("click", () => sort(table, head, at));
      head.append(button);
    });
  }

  const acts = (cell) => cell.classList.contains("acts");

  // Numbers as spreadsheets know them: no plus, a plain minus.
  const plain = (text) => (/^[+−-]?[\d.,]*\d$/.test(text) ? text.replace("+", "").replace("−", "-") : text);
  const safe = (text) => (RUNS.test(text) ? `'${text}` : text);
  const quoted = (text) => `"${safe(plain(text)).replaceAll('"', '""')}"`;

  function sheet(table) {
    // The column of buttons is no part of what is known.
    const kept = [...table.tHead.rows[0].cells].map((head) => !acts(head));
    const line = (row) => [...row.cells].filter((_cell, at) => kept[at]).map((cell) => quoted(read(cell)));
    const rows = [...table.rows].map((row) => line(row).join(","));
    return new Blob([`\ufeff${rows.join("\r\n")}\r\n`], { type: "text/csv;charset=utf-8" });
  }

  function taken(table) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "linklike small noprint as-sheet";
    button.textContent = words.sheet;
    button.addEventListener("click", () => {
      const link = document.createElement("a");
      link.href = URL.createObjectURL(sheet(table));
      link.download = `${table.dataset.name}.csv`;
      link.click();
      setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    });
    (table.closest(".table-wrap") ?? table).after(button);
  }

  for (const table of document.querySelectorAll("main table[data-name]")) {
    if (!table.tHead || table.querySelector("td.none") || table.rows.length < FEWEST_ROWS) continue;
    if (!table.hasAttribute("data-unsorted")) headed(table);
    if (!table.hasAttribute("data-has-sheet")) taken(table);
  }
})();
