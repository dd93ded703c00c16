"""Links up the house: a page of an app above, asked for by name from below.

An app that stands higher offers its pages when it starts (`apps.py`). An app below asks by that name and shows no
link where nobody offers one, so that it never names a route of an app it must not know.
"""

from django.urls import reverse

_offered: dict[str, str] = {}


def offer(pages: dict[str, str]) -> None:
    """Offer pages: the name an app below asks by, and the route it stands for."""
    _offered.update(pages)


def link_to(page: str, *args: object) -> str:
    """The address of an offered page, or nothing where no app offers it."""
    return reverse(_offered[page], args=args) if page in _offered else ""
