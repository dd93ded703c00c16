from django import template

register = template.Library()


@register.filter
def hours(minutes: float) -> str:
    """Minutes as hours with one decimal, without the unit: 1358 is 22.6."""
    return f"{minutes / 60:.1f}"
