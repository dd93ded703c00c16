"""What the API's pages say: written for its users, one entry an endpoint, put into the schema as it is made.

The examples are bodies of a POST as they stand; a test sends each of them. Ids in them are stand-ins.
"""

from dataclasses import dataclass, field
from typing import Any, Final

DESCRIPTION: Final = """\
Sites, schedules, visits and documents of an irrigation service contractor.

**Signing in.** The API uses the session of a signed-in person (`/sign-in/`). A request that changes something
carries the CSRF token in the header `X-CSRFToken`. What a person may read or change is what their role may on the
pages: rows outside that answer 404, actions outside it 403.

**Units.** All figures are SI, with the unit in the name: `flow_l_min`, `area_m2`, `static_pressure_kpa`. Dates are
`YYYY-MM-DD`, moments ISO 8601 with an offset. Money is a decimal as text in the firm's currency.

**Lists.** Pages of 100 rows: `limit` and `offset` in the query, `count`, `next` and `previous` in the answer.
Where rows belong to a site, `?site=ID` narrows the list.

**Errors.** 400 names each wrong field with what to do; nothing was saved. 409 says what the change runs into.
"""


@dataclass(frozen=True)
class Endpoint:
    """`one` and `many` name the rows; `about` says what they are and what to know; `example` is a body to POST."""

    one: str
    many: str
    about: str
    example: dict[str, Any] = field(default_factory=dict)


ENDPOINTS: Final = {
    "backflow-assemblies": Endpoint(
        "backflow assembly",
        "backflow assemblies",
        "Fittings that protect drinking water, with their test dates.",
        {"site": 1, "kind": "reduced_pressure", "serial_number": "B-1042", "test_due_on": "2027-04-30"},
    ),
    "clients": Endpoint("client", "clients", "Who owns sites and gets reports.", {"name": "Borrow garden"}),
    "controllers": Endpoint(
        "controller",
        "controllers",
        "Boxes that open a site's valves. The number of terminals cannot fall below the highest one in use.",
        {"site": 1, "name": "Controller", "location": "garage wall", "terminals": 12},
    ),
    "deliveries": Endpoint("delivery", "deliveries", "One document to one address, and what became of the mail."),
    "documents": Endpoint("document", "documents", "Reports, sheets and proposals as made. The PDF is on the pages."),
    "faults": Endpoint(
        "fault",
        "faults",
        "What is wrong at a site. The sender chooses a `uuid`: sent again, it answers 200 and adds nothing. "
        "Name at most one place: a valve, a zone, a controller or a supply. Photos are added on the pages.",
        {
            "uuid": "0f8b8f0c-2d0a-4c1e-9d59-0c9f5a4c6a11",
            "site": 1,
            "kind": "pipe_leak",
            "severity": "water_loss",
            "description": "Wet patch beside the path while zone 2 runs.",
            "found_at": "2026-05-04T09:30:00+02:00",
        },
    ),
    "forecast-days": Endpoint("forecast day", "forecast days", "Days entered from a forecast, the last first."),
    "measurements": Endpoint(
        "measurement",
        "measurements",
        "What was measured at a valve on a visit under way. Rows are only added. The sender chooses a `uuid`: "
        "sent again, it answers 200 and adds nothing. Give at least one figure; a meter that shows no "
        "reading is `open_circuit`.",
        {
            "uuid": "7c1f6c3e-53a4-4f0b-8f0e-8d8f1f3f2b22",
            "visit": 1,
            "valve": 1,
            "measured_at": "2026-05-04T10:05:00+02:00",
            "coil_resistance_ohm": 34.5,
            "opens": "yes",
        },
    ),
    "meter-readings": Endpoint(
        "meter reading",
        "meter readings",
        "The counter of a water meter on a day, in the meter's own units; one reading a day.",
        {"meter": 1, "read_on": "2026-05-04", "counter": "1204.500"},
    ),
    "meters": Endpoint(
        "meter", "meters", "Water meters and how they count.", {"site": 1, "serial_number": "W-77", "unit": "m3"}
    ),
    "pauses": Endpoint(
        "pause",
        "pauses",
        "Days without watering at a site, both included. A controller set by hand is switched off at the site.",
        {"site": 1, "starts_on": "2026-05-04", "ends_on": "2026-05-08", "reason": "rain"},
    ),
    "photos": Endpoint("photo", "photos", "What is known about pictures. The picture itself is on the pages."),
    "price-items": Endpoint(
        "price item",
        "price items",
        "The price list. An item in use is not deleted: set `active` to false. Lines keep their price.",
        {"name": "Coil, 24 V", "unit": "piece", "price": "38.50"},
    ),
    "proposals": Endpoint(
        "proposal", "proposals", "What repairs would cost. They are written, sent and answered on the pages."
    ),
    "pumps": Endpoint(
        "pump",
        "pumps",
        "Pumps that a controller starts, with the times they need.",
        {"supply": 1, "prime_delay_s": 5},
    ),
    "schedules": Endpoint(
        "schedule",
        "schedules",
        "Season schedules: drafts and published revisions. POST computes a draft from today's weather; a published "
        "revision is never changed.",
        {"site": 1, "keep_programs": True},
    ),
    "season-windows": Endpoint(
        "visit window",
        "visit windows",
        "The days between which a kind of visit must fall in a season.",
        {"season_year": 2027, "kind": "startup", "opens_on": "2027-03-20", "due_on": "2027-05-10"},
    ),
    "service-plans": Endpoint(
        "service plan", "service plans", "Which visits a site gets every season.", {"site": 1, "mid_season_visits": 2}
    ),
    "sites": Endpoint(
        "site",
        "sites",
        "Places the firm looks after.",
        {
            "client": 1,
            "name": "Borrow garden",
            "address": "12 Heron Walk",
            "town": "Ellowick",
            "latitude": 47.6,
            "longitude": -122.1,
            "time_zone": "America/Los_Angeles",
        },
    ),
    "state-changes": Endpoint(
        "state change", "state changes", "When sites were turned on and off. Recorded on the pages and by visits."
    ),
    "stations": Endpoint(
        "weather station",
        "weather stations",
        "Where a site's weather comes from.",
        {"code": "DEMO-1", "name": "Harbour", "latitude": 47.6, "longitude": -122.3, "elevation_m": 40},
    ),
    "supplies": Endpoint(
        "water supply",
        "water supplies",
        "Where a site's water comes from.",
        {"site": 1, "kind": "mains", "name": "Mains", "static_pressure_kpa": 420, "flow_l_min": 60},
    ),
    "tariffs": Endpoint(
        "tariff", "tariffs", "Prices of water, by blocks of use in a month.", {"name": "House and garden"}
    ),
    "users": Endpoint("person", "people", "Who may sign in. Accounts are made on the pages."),
    "valves": Endpoint(
        "valve",
        "valves",
        "Valves and the terminals their wires sit on.",
        {"controller": 1, "name": "Valve 8", "terminal": 8},
    ),
    "visits": Endpoint("visit", "visits", "Calls at sites. They are planned and finished on the pages."),
    "weather-days": Endpoint(
        "day of weather", "days of weather", "Measured days, the newest first; `?station=ID` narrows the list."
    ),
    "work-records": Endpoint(
        "work record", "work records", "Work time and parts of repair visits with their prices, for billing."
    ),
    "zones": Endpoint(
        "zone",
        "zones",
        "Pieces of ground that one valve waters. `figures_origin` says where rate and uniformity are from: without "
        "it they are not used.",
        {"site": 1, "number": 9, "name": "Back lawn", "planting": "cool_turf", "emitter": "rotor", "area_m2": 120},
    ),
}

ACTIONS: Final = {
    "/api/visits/{id}/start/": ("Start a visit", "Begins the visit now. Started again, it stays as it is."),
    "/api/schedules/{id}/publish/": (
        "Publish a draft",
        "Makes the draft the site's next revision; the one before is superseded. 409 says why it cannot be.",
    ),
    "/api/schedules/{id}/zones/{zone}/months/{month}/": (
        "Explain a zone's month",
        "Every figure with its inputs, where each came from, the formula and its source.",
    ),
}
_VERBS: Final = {
    ("get", False): "List {many}",
    ("post", False): "Add a {one}",
    ("get", True): "Read one {one}",
    ("put", True): "Replace a {one}",
    ("patch", True): "Change a {one}",
    ("delete", True): "Delete a {one}",
}


def describe(result: dict[str, Any], generator: Any, **kwargs: Any) -> dict[str, Any]:
    """A hook of the schema's generator: our words in place of what the code says to its own developers."""
    for path, methods in result["paths"].items():
        name, one_row = path.split("/")[2], "{id}" in path
        endpoint = ENDPOINTS[name]
        for method, operation in methods.items():
            if path in ACTIONS:
                operation["summary"], operation["description"] = ACTIONS[path]
            else:
                operation["summary"] = _VERBS[method, one_row].format(one=endpoint.one, many=endpoint.many)
                operation["description"] = endpoint.about
            operation["tags"] = [name]
            if method == "post" and path not in ACTIONS and endpoint.example:
                for content in operation["requestBody"]["content"].values():
                    content["example"] = endpoint.example
    for schema in result["components"]["schemas"].values():
        schema.pop("description", None)
    return result
