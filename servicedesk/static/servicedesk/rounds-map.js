// Draws the rounds of a page on a map: Leaflet, with tiles where the desk names some, on bare paper where not.
"use strict";

(() => {
  const data = JSON.parse(document.getElementById("rounds-data").textContent);
  const frame = document.getElementById("rounds-map");
  const choice = document.getElementById("rounds-choice");
  const LINES = 6; // as many as the style sheet has looks for

  function line(number) {
    return `round-line round-${number % LINES}`;
  }

  // Names come from the record: text, never markup.
  function words(...lines) {
    const box = document.createElement("div");
    for (const one of lines.filter(Boolean)) {
      const row = document.createElement("div");
      row.append(one);
      box.append(row);
    }
    return box;
  }

  function put(layer, at, text, look, popup, title) {
    const icon = L.divIcon({ className: `round-mark ${look}`, html: text, iconSize: [26, 26] });
    L.marker(at, { icon, title, alt: title }).bindPopup(popup).addTo(layer);
  }

  function stopWords(round, stop) {
    const link = document.createElement("a");
    link.href = stop.address;
    link.append(stop.home);
    return words(link, stop.hours, `${round.name}, ${round.group}`);
  }

  function draw(round, number) {
    const layer = L.featureGroup();
    const way = [round.start, ...round.stops.map((stop) => stop.at), round.start];
    L.polyline(way, { className: line(number), interactive: false }).addTo(layer);
    put(layer, round.start, "", "start", words(data.words.start, round.name), round.name);
    for (const stop of round.stops) {
      const title = `${stop.number}. ${stop.home}, ${stop.hours}`;
      put(layer, stop.at, String(stop.number), `stop round-${number % LINES}`, stopWords(round, stop), title);
    }
    return layer;
  }

  frame.closest("[hidden]").hidden = false;
  document.documentElement.classList.add("mapped");
  const map = L.map(frame, { zoomControl: false, zoomSnap: 0.25, scrollWheelZoom: false });
  L.control.zoom({ zoomInTitle: data.words.zoom_in, zoomOutTitle: data.words.zoom_out }).addTo(map);
  L.control.scale().addTo(map);
  map.attributionControl.setPrefix(false);
  if (data.tiles) {
    const credit = document.createElement("span");
    credit.append(data.credit);
    L.tileLayer(data.tiles, { attribution: credit.innerHTML, referrerPolicy: "origin" }).addTo(map);
  }
  map.on("click", () => map.scrollWheelZoom.enable());
  map.on("mouseout", () => map.scrollWheelZoom.disable());

  // The same technician keeps one look through all days.
  const names = [...new Set(data.rounds.map((round) => round.name))];
  const layers = data.rounds.map((round) => draw(round, names.indexOf(round.name)));

  function show(wanted) {
    const shown = L.featureGroup();
    data.rounds.forEach((round, at) => {
      const seen = !wanted || wanted === round.key || wanted === `group:${round.group}`;
      if (seen) {
        layers[at].addTo(map);
        layers[at].eachLayer((part) => shown.addLayer(part));
      } else {
        layers[at].remove();
      }
    });
    const bounds = shown.getBounds();
    if (bounds.isValid()) map.fitBounds(bounds, { padding: [48, 48], maxZoom: 15, animate: false });
  }

  if (choice) {
    choice.addEventListener("change", () => show(choice.value));
    for (const link of document.querySelectorAll("[data-round]")) {
      link.hidden = false;
      link.addEventListener("click", () => {
        choice.value = link.dataset.round;
        show(choice.value);
        frame.scrollIntoView({ block: "nearest" });
      });
    }
  }
  show(choice ? choice.value : "");
})();
