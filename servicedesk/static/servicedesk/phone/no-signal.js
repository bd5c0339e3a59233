// Fills the page that stands in for one that is not there: what is kept of the day, and what waits.
"use strict";

(async (phone) => {
  const list = document.getElementById("kept-pages");
  const titles = await phone.keptTitles();
  for (const [address, title] of Object.entries(titles)) {
    if (address.startsWith("/filters/")) continue;
    const row = phone.element("li");
    row.append(phone.element("a", title.replace(/ · [^·]*$/, ""), { href: address }));
    list.append(row);
  }
  document.getElementById("nothing-kept").hidden = list.children.length > 0;
  const entries = await phone.entries();
  const stuck = entries.filter((entry) => entry.stuck).length;
  const wait = entries.length - stuck;
  const said = document.getElementById("waiting");
  said.textContent = [wait && phone.count("wait", wait), stuck && phone.count("stuck", stuck)].filter(Boolean).join(" · ");
  said.hidden = !entries.length;
  document.getElementById("again").addEventListener("click", () => location.reload());
})(self.phone);
