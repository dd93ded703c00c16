"""Where on a site something is, in words a person says."""

from django.db.models import Model

from jobs.models import Fault

PLACES = ("valve", "zone", "controller", "supply")


def named(word: str, row: Model) -> str:
    """ "valve North lawn", but "Valve 2" rather than "valve Valve 2"."""
    name = str(row)
    return name if word in name.lower().split() else f"{word} {name}"


def place_of(fault: Fault) -> str:
    for word in PLACES:
        row = getattr(fault, word)
        if row is not None:
            return named(word, row)
    return "the site in general"
