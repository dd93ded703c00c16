from django import template

from jobs.outside.roads import source_words
from sites.models.places import WEEKDAYS

register = template.Library()


register.filter("source_words", source_words)


@register.filter
def weekday_names(weekdays: list[int]) -> str:
    """0 for Monday: [1, 3] is "Tuesday or Thursday"."""
    return " or ".join(WEEKDAYS[day] for day in sorted(weekdays))


@register.filter
def hours(minutes: float) -> str:
    """Minutes as hours with one decimal, without the unit: 1358 is 22.6."""
    return f"{minutes / 60:.1f}"
