"""`{{ zone.flow_l_min|quantity:"flow" }}` shows a stored SI value in the firm's units."""

from decimal import Decimal

from django import template

from sites.core.told import told as in_words
from sites.core.units import format_quantity, priced_volume, unit_label
from sites.core.writing import number
from sites.models import Firm

register = template.Library()


@register.filter
def quantity(value: float | None, kind: str) -> str:
    return format_quantity(value, kind, Firm.current().units)


@register.filter
def told(text: str) -> str:
    """Stored text with its figures in the firm's units."""
    return in_words(text, Firm.current().units)


@register.filter
def water_price(price_per_m3: Decimal) -> str:
    """A stored price per m³ as the firm quotes it: "1.20 per m³", "6.50 per 1,000 gal"."""
    return per_volume(float(price_per_m3))


@register.filter
def per_volume(amount_per_m3: float, unit: str = "") -> str:
    """An amount per m³ beside the volume the firm counts in: `0.17|per_volume:"kWh"` is "0.17 kWh per m³"."""
    volume = priced_volume(Firm.current().units)
    amount = f"{number(amount_per_m3 * volume.size, volume.decimals)} {unit}".strip()
    return f"{amount} per {volume.label}"


@register.simple_tag
def unit_of(kind: str) -> str:
    return unit_label(kind, Firm.current().units)
