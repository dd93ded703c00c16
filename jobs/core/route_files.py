"""A day's route as files that other programs read: GPX 1.1 and GeoJSON (RFC 7946)."""

import datetime as dt
import json
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from dataclasses import dataclass

from jobs.core.routing.travel import Point

GPX = "http://www.topografix.com/GPX/1/1"  # the schema's namespace, a name and not an address to open


@dataclass(frozen=True)
class RouteStop:
    """A place of the day, `begins` an aware time, None where the plan knows none."""

    name: str
    text: str
    point: Point
    begins: dt.datetime | None


@dataclass(frozen=True)
class RouteFile:
    """A day's stops in order and the `line` to draw, along roads or (`estimated`) straight from stop to stop."""

    name: str
    made_at: dt.datetime
    stops: Sequence[RouteStop]
    line: Sequence[Point]
    estimated: bool


def gpx_file(route: RouteFile) -> bytes:
    """GPX 1.1: way points, the route through them, and the line as a track; elements in the schema's order."""
    ET.register_namespace("", GPX)
    root = ET.Element(f"{{{GPX}}}gpx", {"version": "1.1", "creator": "Rillbook"})
    metadata = _below(root, "metadata")
    _below(metadata, "name", route.name)
    _below(metadata, "time", _utc(route.made_at))
    for stop in route.stops:
        _place(root, "wpt", stop)
    way = _below(root, "rte")
    _below(way, "name", route.name)
    for stop in route.stops:
        _place(way, "rtept", stop)
    track = _below(root, "trk")
    _below(track, "name", route.name)
    _below(track, "src", "straight lines" if route.estimated else "roads")
    segment = _below(track, "trkseg")
    for point in route.line:
        _below(segment, "trkpt").attrib.update(_degrees(point))
    ET.indent(root)
    return ET.tostring(root, encoding="utf-8", xml_declaration=True)


def geojson_file(route: RouteFile) -> bytes:
    """A FeatureCollection: one LineString, then one Point a stop; positions are longitude, latitude."""
    line = [[p.longitude, p.latitude] for p in route.line]
    features = [
        _feature({"type": "LineString", "coordinates": line}, {"name": route.name, "estimated": route.estimated})
    ]
    for number, stop in enumerate(route.stops):
        geometry = {"type": "Point", "coordinates": [stop.point.longitude, stop.point.latitude]}
        begins = stop.begins.isoformat() if stop.begins else None
        features.append(
            _feature(geometry, {"number": number, "name": stop.name, "text": stop.text, "begins": begins})
        )
    return json.dumps({"type": "FeatureCollection", "features": features}, ensure_ascii=False, indent=1).encode()


def _feature(geometry: dict, properties: dict) -> dict:
    return {"type": "Feature", "geometry": geometry, "properties": properties}


def _place(parent: ET.Element, tag: str, stop: RouteStop) -> None:
    place = _below(parent, tag)
    place.attrib.update(_degrees(stop.point))
    if stop.begins:
        _below(place, "time", _utc(stop.begins))
    _below(place, "name", stop.name)
    if stop.text:
        _below(place, "desc", stop.text)


def _degrees(point: Point) -> dict[str, str]:
    return {"lat": f"{point.latitude:.6f}", "lon": f"{point.longitude:.6f}"}


def _utc(moment: dt.datetime) -> str:
    return moment.astimezone(dt.UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _below(parent: ET.Element, tag: str, text: str | None = None) -> ET.Element:
    element = ET.SubElement(parent, f"{{{GPX}}}{tag}")
    if text is not None:
        # XML has no way to write control characters, not even escaped.
        element.text = "".join(c for c in text if c.isprintable() or c in "\n\t")
    return element
