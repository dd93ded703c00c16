"""What a person can read as a rule names its publication; nothing on screen or paper is told from memory."""

import ast
import re
import subprocess
from pathlib import Path

import pytest

from reports.documents.words import language
from scheduling.core.water.changes import CHANGES, MULCH_FACTOR
from scheduling.core.water.demand import PLANTINGS
from sites.core.sources import COMMON_PRACTICE, NOT_CONFIRMED, S623, SOURCES, UC_SLIDE, cited, joined

ROOT = Path(__file__).parents[1]
APPS = ("config", "sites", "scheduling", "jobs", "reports")
# Words about how a figure came to the writer, codes of papers that are not here, in any language of the product.
NEVER_SHOWN = re.compile(
    r"from memory|aus dem Gedächtnis|transcri(?:bed|ption)|page seen|seen quoted|seen in an excerpt|shared folder"
    r"|\bref \d\.\d|\bR\d\d:",
    re.IGNORECASE,
)
NEVER_IN_TESTS = re.compile(r"\bref(?:erence)? \d\.\d|\bR[0-7]\d[:,)]|seen quoted|page seen|transcri(?:bed|ption)")


def files(*endings: str, among: tuple[str, ...] = APPS) -> list[Path]:
    listed = subprocess.run(["git", "ls-files", *among], cwd=ROOT, capture_output=True, text=True, check=True)
    return [ROOT / name for name in listed.stdout.splitlines() if name.endswith(endings) and (ROOT / name).exists()]


def shown_strings(path: Path) -> list[str]:
    """Every string of a Python file that is no docstring: it may reach a screen, a sheet or a mail."""
    tree = ast.parse(path.read_text())
    owners = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    docs = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, owners) and node.body and isinstance(node.body[0], ast.Expr)
    }
    return [
        node.value
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs
    ]


def test_nothing_shown_to_people_is_told_from_memory():
    found = [
        f"{path.name}: {text}" for path in files(".py") for text in shown_strings(path) if NEVER_SHOWN.search(text)
    ]
    shown = [*files(".html", ".js", ".css", ".txt", ".po"), *[ROOT / name for name in ("README.md", "CHANGELOG.md")]]
    found += [path.name for path in shown if NEVER_SHOWN.search(path.read_text())]
    assert found == []


def test_tests_name_publications_and_no_codes():
    found = [path.name for path in files(".py", among=("tests",)) if path != Path(__file__)]
    assert found  # something is looked at
    assert [
        path.name
        for path in files(".py", among=("tests",))
        if path != Path(__file__) and NEVER_IN_TESTS.search(path.read_text())
    ] == []


def test_a_string_from_memory_would_be_found(tmp_path):
    planted = tmp_path / "planted.py"
    planted.write_text('"""Docstrings may say from memory."""\n\nSOURCE = "FAO-56, from memory"\n')
    assert [bool(NEVER_SHOWN.search(text)) for text in shown_strings(planted)] == [True]


def test_every_publication_of_the_list_is_named_by_the_code_that_rests_on_it():
    names = re.findall(r"^([A-Z][A-Z0-9_]+) = Source", (ROOT / "sites/core/sources.py").read_text(), re.MULTILINE)
    code = "".join(path.read_text() for path in files(".py") if path.name != "sources.py")
    assert [name for name in names if not re.search(rf"\b{name}\b", code)] == []


def test_each_publication_is_told_once_with_edition_or_year_and_found_by_its_short_name():
    shorts = [source.short for source in SOURCES]
    assert len(set(shorts)) == len(shorts)
    for source in SOURCES:
        assert source.citation.endswith("."), source.short
        assert cited(source.short) == (source,), source.short
        assert cited(source.unconfirmed) == (source,)
    assert cited(joined(UC_SLIDE.unconfirmed, COMMON_PRACTICE, S623)) == (UC_SLIDE, S623)
    assert cited(COMMON_PRACTICE) == ()


@pytest.mark.parametrize("planting", PLANTINGS.values(), ids=PLANTINGS)
def test_every_planting_names_its_publication(planting):
    assert cited(planting.source)
    food = planting.key in ("vegetables", "deciduous_fruit", "evergreen_fruit")
    assert (UC_SLIDE.short in planting.source) == food  # ANSI/ASABE S623.1 leaves food plants out of its scope
    if planting.key in ("shrubs", "trees", "cool_turf", "warm_turf", "sports_turf"):
        assert NOT_CONFIRMED not in planting.source
    else:
        assert planting.source.endswith(NOT_CONFIRMED)


def test_mulch_spares_half_of_what_evaporates_from_the_soil():
    """FAO-56 chapter 11: 5 % less soil evaporation for each 10 % of ground covered; evaporation share 0.20 of demand,
    0.15 to 0.40: common practice."""
    assert pytest.approx(1 - 0.20 * 10 * 0.05) == MULCH_FACTOR
    assert "FAO-56 chapter 11" in CHANGES["mulch"].says
    assert COMMON_PRACTICE in CHANGES["mulch"].says


def test_the_client_reads_the_same_in_german():
    german = language("de")
    assert german.phrase(S623.unconfirmed).endswith("nicht am Druck nachgeprüft")
    assert german.phrase(COMMON_PRACTICE) == "gängige Praxis"
