"""`{{ zone.flow_l_min|quantity:"flow" }}` shows a stored SI value in the firm's units."""

from django import template

from sites.core.units import format_quantity, unit_label
from sites.models import Firm

register = template.Library()


@register.filter
def quantity(value: float | None, kind: str) -> str:
    return format_quantity(value, kind, Firm.current().units)


@register.simple_tag
def unit_of(kind: str) -> str:
    return unit_label(kind, Firm.current().units)
