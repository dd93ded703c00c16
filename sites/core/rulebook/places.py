"""Clients, sites, weather stations and water prices, field by field. Roles are the words of an account's role."""

from functools import partial

from sites.core.rulebook import choices
from sites.core.rulebook.fields import ABOVE_0, Field, Kind, Rule, Table, Values
from sites.core.units import Quantity

MOST_AREA_M2 = 10_000_000  # beyond any site

text = partial(Field, Kind.TEXT)
note = partial(Field, Kind.NOTE, longest=10_000, empty=True)
yes_no = partial(Field, Kind.YES_NO)
time = partial(Field, Kind.TIME)
office_notes = note("office_notes", help="For the office only; never printed for the client.",
    hidden_from=("technician", "client"))  # fmt: skip
latitude = Field(Kind.NUMBER, "latitude", least=-90, most=90,
    told="Latitude lies between {least} and {most} degrees. Are latitude and longitude the wrong way round?",
    help="Decimal degrees, south is negative.")  # fmt: skip
longitude = Field(Kind.NUMBER, "longitude", least=-180, most=180, help="Decimal degrees, west is negative.",
    told="Longitude lies between {least} and {most} degrees.")  # fmt: skip
elevation = Field(Kind.NUMBER, "elevation_m", "elevation", Quantity.LENGTH, least=-430, most=6000, default=0)

CLIENT = Table(
    "",
    (
        text("name", longest=160),
        text("contact_name", longest=120, empty=True),
        Field(Kind.EMAIL, "email", longest=254, empty=True),
        text("phone", longest=40, empty=True),
        note("billing_address"),
        yes_no("wants_season_report_by_email", default=True),
        Field(Kind.CHOICE, "report_as", "season report in the mail", choices=choices.ReportAs, longest=10,
            default=choices.ReportAs.ATTACHMENT.value),
        Field(Kind.CHOICE, "language", "language of reports", choices=choices.Language, longest=5,
            default=choices.Language.ENGLISH.value),
        yes_no("wants_reminders", "reminder by email the day before a visit", default=True,
            help="Appointments themselves are always told."),
        office_notes,
    ),
)  # fmt: skip


def closes_after_it_opens(site: Values) -> dict[str, str]:
    opens, closes = site["opens_at"], site["closes_at"]
    if opens and closes and closes <= opens:
        return {"closes_at": f"The closing time must be after the opening time, {opens:%H:%M}."}
    return {}


def window_has_a_length(site: Values) -> dict[str, str]:
    if site["watering_window_start"] and site["watering_window_start"] == site["watering_window_end"]:
        words = "The window must not end when it starts. For the whole day write 00:00 to 23:59."
        return {"watering_window_end": words}
    return {}


def permitted_weekdays_are_named(site: Values) -> dict[str, str]:
    if site["permitted_days"] == choices.PermittedDays.WEEKDAYS and not site["permitted_weekdays"]:
        return {"permitted_weekdays": "Tick the weekdays on which watering is permitted."}
    return {}


SITE = Table(
    "",
    (
        Field(Kind.ROW, "client"),
        text("name", longest=160),
        text("address", longest=200),
        text("postcode", longest=20, empty=True),
        text("town", longest=100),
        latitude,
        longitude,
        elevation,
        text("time_zone", longest=60),
        time("opens_at", "open from", default="07:00", help="When a technician may enter."),
        time("closes_at", "open until", default="18:00"),
        Field(Kind.WEEKDAYS, "open_weekdays", "open on",
            told="Tick at least one day on which a technician may enter."),
        note("access_notes", help="Gates, dogs, keys. Shown to the assigned technician.", hidden_from=("client",)),
        office_notes,
        Field(Kind.ROW, "weather_station", empty=True),
        Field(Kind.CHOICE, "permitted_days", "permitted watering days", choices=choices.PermittedDays, longest=10,
            default=choices.PermittedDays.ANY.value),
        Field(Kind.WEEKDAYS, "permitted_weekdays", empty=True,
            help="Counts where watering is permitted on named weekdays."),
        time("watering_window_start", "watering allowed from", default="22:00"),
        time("watering_window_end", "watering allowed until", default="08:00", help="May lie after midnight."),
        Field(Kind.ROW, "tariff", empty=True),
        yes_no("residential", "residential landscape", default=True,
            help="The water allowance of other landscapes is smaller."),
        Field(Kind.NUMBER, "special_landscape_m2", "special landscape area", Quantity.AREA, least=0,
            most=MOST_AREA_M2, default=0,
            help="Part of the planted area with a full allowance: edible plants, active play, recycled water."),
    ),
    (
        Rule(("opens_at", "closes_at"), closes_after_it_opens),
        Rule(("watering_window_start", "watering_window_end"), window_has_a_length),
        Rule(("permitted_days", "permitted_weekdays"), permitted_weekdays_are_named),
    ),
)  # fmt: skip

STATION = Table(
    "",
    (
        text("code", longest=40, help="The station's identifier, e.g. its GHCN id."),
        text("name", longest=120),
        latitude,
        longitude,
        elevation,
        Field(Kind.NUMBER, "wind_height_m", "height of the wind sensor", Quantity.LENGTH, least=0.5, most=100,
            default=10),
        yes_no("coastal", "at a coast", default=False,
            help="Radiation is estimated from temperature with kRs 0.19 at a coast, 0.16 inland."),
    ),
)  # fmt: skip

TARIFF = Table(
    "",
    (
        text("name", longest=120),
        Field(Kind.MONEY, "fixed_per_month", least=0, most=9_999_999, digits=9, decimals=2, default=0),
    ),
)  # fmt: skip

TARIFF_BLOCK = Table(
    "tariff",
    (
        Field(Kind.NUMBER, "from_m3", "from", Quantity.VOLUME, least=0, most=1_000_000_000),
        Field(Kind.MONEY, "price_per_m3", "price", least=0, most=99_999, digits=9, decimals=4),
    ),
)  # fmt: skip

METER = Table(
    "site",
    (
        text("serial_number", longest=60),
        Field(Kind.CHOICE, "unit", "the counter counts in", choices=choices.RegisterUnit, longest=12,
            default=choices.RegisterUnit.M3.value),
        Field(Kind.WHOLE, "digits", "digits before the point", least=3, most=9, default=6),
        Field(Kind.NUMBER, "multiplier", least=ABOVE_0, most=1_000_000, default=1,
            help="The counter counts this many of its units a step; 1 for most meters."),
        yes_no("irrigation_only", default=True),
        Field(Kind.DATE, "removed_on", empty=True),
    ),
)  # fmt: skip

READING = Table(
    "meter",
    (
        Field(Kind.DATE, "read_on"),
        time("read_at", "time of day", empty=True,
            help="Two readings with their times, in the evening and the next morning, show a leak."),
        Field(Kind.MONEY, "counter", "counter reading", least=0, most=9_999_999_999, digits=13, decimals=3),
        yes_no("estimated", default=False),
        text("note", longest=200, empty=True),
    ),
)  # fmt: skip
