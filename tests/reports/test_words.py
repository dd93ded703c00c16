"""The catalogues of the client documents: complete, the same names in each, figures as the language writes them."""

import datetime as dt
import string

import pytest

from jobs.models import Fault, VisitKind
from reports.documents.words import CATALOGUES, en, language
from sites.core.rulebook.choices import Emitter, Planting, SoilTexture
from sites.models import BackflowAssembly, Client


def names_in(text: str) -> set[str]:
    return {name for _, name, _, _ in string.Formatter().parse(text) if name}


def test_every_language_a_client_may_choose_has_a_catalogue():
    assert set(Client.Language.stored()) == set(CATALOGUES)


@pytest.mark.parametrize("code", CATALOGUES)
def test_no_key_is_missing_and_each_has_the_names_of_the_english_one(code):
    words = CATALOGUES[code][0]
    own = {key for key in words if not key.startswith("name.")}

    assert own == set(en.WORDS)
    assert {key for key in own if names_in(words[key]) != names_in(en.WORDS[key])} == set()
    assert [key for key, text in words.items() if not text.strip()] == []


@pytest.mark.parametrize("code", CATALOGUES)
def test_every_kind_of_thing_the_register_knows_has_a_name(code):
    words = CATALOGUES[code][0]
    kinds = {
        "fault": Fault.Kind.values,
        "severity": Fault.Severity.values,
        "visit": VisitKind.values,
        "backflow": BackflowAssembly.Kind.stored(),
    }
    assert [
        f"{group}.{kind}" for group, all_of in kinds.items() for kind in all_of if f"{group}.{kind}" not in words
    ] == []


def test_the_names_inside_german_phrases_cover_every_planting_soil_and_emitter():
    words = CATALOGUES["de"][0]
    labels = [word.label for choice in (Planting, SoilTexture, Emitter) for word in choice]

    assert [label for label in labels if f"name.{label}" not in words] == []


def test_german_writes_figures_and_dates_its_own_way():
    german = language("de")

    assert german.date(dt.date(2026, 3, 6)) == "6. März 2026"
    assert language("en").date(dt.date(2026, 3, 6)) == "6 March 2026"
    assert language("en-US").date(dt.date(2026, 3, 6)) == "March 6, 2026"


def test_an_unknown_language_falls_back_to_english():
    assert language("xx").code == language("en").code == "en-GB"


def test_german_tells_where_a_default_comes_from():
    german = language("de")

    assert german.phrase("factor of cool-season turf") == "Pflanzenfaktor für Rasen kühler Lagen"
    assert german.phrase("usual for shrubs, common practice") == "üblich für Sträucher, gängige Praxis"
    told = german.phrase("table value for loam; soil not entered: loam assumed, common practice")
    assert told == "Tabellenwert für Lehm; Boden nicht erfasst: Lehm angenommen, gängige Praxis"
