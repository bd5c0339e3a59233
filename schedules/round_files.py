"""A plan's rounds for other programs: GeoJSON (RFC 7946) and GPX 1.1, open formats."""

import json
from collections.abc import Iterator
from datetime import UTC, date, datetime, time
from typing import Any
from xml.etree import ElementTree
from zoneinfo import ZoneInfo

_GPX = "http://www.topografix.com/GPX/1/1"


def geojson(proposal: dict[str, Any]) -> str:
    """A line a round and a point a stop; positions are longitude, latitude."""
    features = []
    for day in proposal["days"]:
        who = {"technician": day["name"], "day": day["day"]}
        line = [_lon_lat(place) for place in _places(day)]
        features.append(_feature("LineString", line, {**who, "depart": day["depart"], "back": day["back"]}))
        for stop in day["stops"]:
            told = {name: stop[name] for name in ("number", "home", "arrive", "leave")}
            features.append(_feature("Point", _lon_lat(stop["place"]), {**who, **told}))
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False)


def gpx(proposal: dict[str, Any], zone: ZoneInfo) -> bytes:
    """A route (rte) a technician and day, its stops by number and address with their times in UTC; the
    proposal's are those of the wall clock in ``zone``."""
    ElementTree.register_namespace("", _GPX)
    root = ElementTree.Element(f"{{{_GPX}}}gpx", {"version": "1.1", "creator": "servicedesk"})
    for day in proposal["days"]:
        route = ElementTree.SubElement(root, f"{{{_GPX}}}rte")
        _text(route, "name", f"{day['name']}, {day['day']}")
        _point(route, day["start"], "start", _instant(day["day"], day["depart"], zone))
        for stop in day["stops"]:
            at = _instant(day["day"], stop["arrive"], zone)
            _point(route, stop["place"], f"{stop['number']}. {stop['home']}", at)
        _point(route, day["start"], "back", _instant(day["day"], day["back"], zone))
    return bytes(ElementTree.tostring(root, encoding="utf-8", xml_declaration=True))


def _places(day: dict[str, Any]) -> Iterator[list[float]]:
    yield day["start"]
    yield from (stop["place"] for stop in day["stops"])
    yield day["start"]


def _lon_lat(place: list[float]) -> list[float]:
    return [place[1], place[0]]


def _feature(kind: str, coordinates: Any, properties: dict[str, Any]) -> dict[str, Any]:
    return {
        "type": "Feature",
        "geometry": {"type": kind, "coordinates": coordinates},
        "properties": properties,
    }


def _instant(day: str, hour: str, zone: ZoneInfo) -> str:
    local = datetime.combine(date.fromisoformat(day), time.fromisoformat(hour), zone)
    return local.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _point(route: ElementTree.Element, place: list[float], name: str, at: str) -> None:
    where = {"lat": f"{place[0]:.6f}", "lon": f"{place[1]:.6f}"}
    point = ElementTree.SubElement(route, f"{{{_GPX}}}rtept", where)
    # The schema's order: time before name.
    _text(point, "time", at)
    _text(point, "name", name)


def _text(parent: ElementTree.Element, name: str, text: str) -> None:
    # What XML cannot hold at all must not come from a name.
    clean = "".join(sign for sign in text if sign.isprintable())
    ElementTree.SubElement(parent, f"{{{_GPX}}}{name}").text = clean
