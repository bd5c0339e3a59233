// Past the end of its day a page shows nothing that opens a door. The day is the page's own, as the desk wrote it
// into its markup: that holds too for a page that the browser brings back, and where nothing is kept any more.
"use strict";

((phone) => {
  const AT_MOST_MS = 60000;
  const until = Number(document.body.dataset.until || 0);
  let skew = null; // of the phone's clock; not known before it was asked for once
  let timer = 0;

  function isOver() {
    return Boolean(until) && until <= Date.now() + skew;
  }

  function look() {
    clearTimeout(timer);
    if (!until || skew === null) return;
    if (isOver()) for (const note of document.querySelectorAll("[data-access]")) note.remove();
    else timer = setTimeout(phone.dayOver, Math.min(until - Date.now() - skew + 50, AT_MOST_MS));
  }

  phone.dayOver = async () => {
    look();
    const facts = await phone.facts().catch(() => ({}));
    skew = facts.skew ?? skew ?? 0;
    look();
    if (isOver()) await phone.wipeOld().catch(() => {});
  };

  addEventListener("pageshow", phone.dayOver);
  document.addEventListener("visibilitychange", phone.dayOver);
  phone.dayOver();
})(self.phone);
