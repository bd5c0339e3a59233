// Reads calendar files with two libraries of other people: node read.mjs MODULES FILE...
// Prints a list of events for each library and file: [uid, start, end, cancelled], in UTC or as days.
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";
import { pathToFileURL } from "node:url";

const [modules, ...files] = process.argv.slice(2);
const require = createRequire(pathToFileURL(`${modules}/`));
const ICAL = (await import(pathToFileURL(require.resolve("ical.js")))).default;
const nodeIcal = require("node-ical");

const day = (date) =>
  [date.getFullYear(), date.getMonth() + 1, date.getDate()].map((part) => String(part).padStart(2, "0")).join("-");
const instant = (date) => date.toISOString().slice(0, 19) + "Z";

function byIcalJs(text) {
  const calendar = new ICAL.Component(ICAL.parse(text));
  for (const zone of calendar.getAllSubcomponents("vtimezone")) {
    ICAL.TimezoneService.register(new ICAL.Timezone(zone));
  }
  const said = (time) => (time.isDate ? time.toString() : instant(new Date(time.toUnixTime() * 1000)));
  return calendar.getAllSubcomponents("vevent").map((one) => {
    const event = new ICAL.Event(one);
    const off = one.getFirstPropertyValue("status") === "CANCELLED";
    return [event.uid, said(event.startDate), said(event.endDate), off];
  });
}

function byNodeIcal(text) {
  const events = Object.values(nodeIcal.sync.parseICS(text)).filter((one) => one.type === "VEVENT");
  return events.map((event) => {
    const said = event.datetype === "date" ? day : instant;
    return [event.uid, said(event.start), said(event.end), event.status === "CANCELLED"];
  });
}

const readers = { "ical.js": byIcalJs, "node-ical": byNodeIcal };
const found = Object.entries(readers).map(([name, read]) => [
  name,
  files.map((file) => read(readFileSync(file, "utf8"))),
]);
console.log(JSON.stringify(Object.fromEntries(found)));
