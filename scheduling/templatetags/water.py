"""Water figures on a page: litres as the firm's volume, derivation values in the firm's units."""

from django import template

from scheduling.core.water.derivation import shown_value
from scheduling.core.water.volumes import L_PER_US_GAL
from scheduling.models import SeasonSchedule
from scheduling.queries.plan import RULE_MONTH
from sites.core import writing
from sites.core.units import format_quantity
from sites.models import Firm

LITRES_PER_M3 = 1000.0

register = template.Library()


@register.filter
def litres(value: float | None) -> str:
    """Litres as a volume with its unit."""
    return format_quantity(_m3(value), "volume", Firm.current().units)


@register.filter
def litres_an_hour(value: float) -> str:
    """A small flow: "8.0 L/h", or in gallons an hour."""
    if Firm.current().units == Firm.Units.METRIC:
        return f"{writing.number(value, 1)} L/h"
    return f"{writing.number(value / L_PER_US_GAL, 2)} gal/h"


@register.filter
def litres_number(value: float | None) -> str:
    """Litres as a bare number in the firm's volume unit, for a table whose head names the unit."""
    system = Firm.current().units
    decimals = 1 if system == Firm.Units.METRIC else 0
    return format_quantity(_m3(value), "volume", system, decimals=decimals, with_unit=False)


@register.filter
def litres_signed(value: float | None) -> str:
    """A difference in litres as a signed number in the firm's volume unit."""
    if value is None:
        return "–"
    number, nothing = litres_number(abs(value)), litres_number(0.0)
    return "0" if number == nothing else f"{'+' if value > 0 else writing.MINUS}{number}"


@register.filter
def depth_number(value: float | None) -> str:
    """A depth as a bare number, for a table whose head names the unit."""
    return format_quantity(value, "depth", Firm.current().units, with_unit=False)


@register.filter
def programs_rest_on(schedule: SeasonSchedule) -> str:
    """What the minutes of a schedule's programs rest on; a normal by the name of its month."""
    rule = schedule.basis.get("rule", RULE_MONTH)
    return f"the normal {writing.month_name(schedule.month)}" if rule == RULE_MONTH else rule


@register.filter
def rhythm(days_per_week: float) -> str:
    """Watering days of an average week in words: "3 days a week", "every 2 weeks"."""
    if days_per_week >= 1:
        return f"{days_per_week:.3g} day{'s' if days_per_week > 1 else ''} a week"
    return f"every {round(1 / days_per_week)} weeks"


@register.filter
def with_unit(value: float | str | None, unit: str) -> str:
    """A value of a derivation in the firm's units."""
    return "–" if value is None else shown_value(value, unit, Firm.current().units)


@register.filter
def signed(value: float | None, decimals: int = 0) -> str:
    """A difference with its sign, "+12" or "−3"; "–" where there is none."""
    if value is None:
        return "–"
    return "0" if round(value, decimals) == 0 else writing.signed(value, decimals)


@register.filter
def seconds(value: float) -> str:
    """Seconds as "45 s", "8.1 min" or "23 h"."""
    if value < 120:
        return f"{writing.number(value)} s"
    return f"{writing.number(value / 60, 1)} min" if value < 7200 else f"{writing.number(value / 3600)} h"


def _m3(value: float | None) -> float | None:
    return None if value is None else value / LITRES_PER_M3
