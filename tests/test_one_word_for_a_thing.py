"""Each thing has one word over pages, paper, phone, mail, API and commands; words once given up stay out."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings

from config import glossary

ROOT = settings.BASE_DIR
PRODUCT = ("config", "sites", "scheduling", "jobs", "reports")
# Each with the word that is used instead.
RETIRED = {
    r"mend(s|ed|ing)?": "repair",
    r"manual run": "one-off run",
    r"percent by month|percent setting": "seasonal percentage",
    r"how bad": "severity",
    r"e-mails?": "email",
    r"‹ newer|older ›|‹ back|on ›": "Previous, Next",
    r"reckon(s|ed|ing)?": "use, count",
    r"anew": "again",
    r"meanwhile|in the meantime": "since",
    r"thirst(y|ier)": "takes more water than",
    r"set aside": "not applied",
    r"taken? back|takes back": "withdraw",
    r"(in|to) the books": "recorded",
    r"stands so|where (it|they) stands?|what stands there|stands already": "status",
    r"order (this|all) days?|ordered every season": "plan the route",
    r"(meter|two|the|its|estimated|without|dates and) reads|register (reading|counts)": "reading, counter",
    r"wie schwer": "Schweregrad",
}
WORDS = {re.compile(rf"(?<![\w-])(?:{pattern})(?![\w-])", re.IGNORECASE): use for pattern, use in RETIRED.items()}


def python_texts(path: Path) -> Iterator[str]:
    """String literals, with what an f-string says around its values; docstrings are for developers."""
    tree = ast.parse(path.read_text())
    holders = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
    docstrings = {
        id(node.body[0].value)
        for node in ast.walk(tree)
        if isinstance(node, holders) and node.body and isinstance(node.body[0], ast.Expr)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docstrings:
            yield node.value


def template_texts(path: Path) -> Iterator[str]:
    text = re.sub(r"\{#.*?#\}", "", path.read_text(), flags=re.S)
    yield from re.findall(r"\{[{%].*?[%}]\}", text)  # words given to filters and tags
    yield re.sub(r"\{[{%].*?[%}]\}", " ", text)


def script_texts(path: Path) -> Iterator[str]:
    text = re.sub(r"/\*.*?\*/|^\s*//.*?$|\s//\s.*?$", "", path.read_text(), flags=re.S | re.M)
    yield from re.findall(r"\"[^\"\n]*\"|`[^`]*`", text)


READ_BY = {".py": python_texts, ".html": template_texts, ".svg": template_texts, ".js": script_texts}


def product_files() -> list[Path]:
    found = (path for app in PRODUCT for path in (ROOT / app).rglob("*") if path.suffix in READ_BY)
    return [path for path in found if "migrations" not in path.parts]


def retired_in(text: str) -> list[str]:
    return [f"{found[0]!r}, say {use!r}" for word, use in WORDS.items() for found in word.finditer(text)]


def test_no_text_of_the_product_uses_a_word_that_was_given_up():
    found = {
        f"{path.relative_to(ROOT)}: {words}"
        for path in product_files()
        for text in READ_BY[path.suffix](path)
        for words in retired_in(text)
    }

    assert found == set()


def test_readme_guide_changes_and_glossary_keep_to_it_too():
    pages = ("README.md", "DEVELOPERS.md", "CHANGELOG.md")
    texts = [" ".join((ROOT / page).read_text().split()) for page in pages]
    texts += [term.meaning for term in glossary.TERMS]

    assert [words for text in texts for words in retired_in(text)] == []


@pytest.mark.parametrize(
    ("suffix", "text"),
    [
        (".py", 'raise ValueError(f"Nothing was mended on {day}.")'),
        (".html", '<td data-label="How bad">{{ row }}</td>'),
        (".html", '{% include "_form.html" with submit_label="Set aside" %}'),
        (".html", '{{ fault.repair_note|default:"not mended" }}'),
        (".svg", "<text>Stands where it stands</text>"),
        (".py", 'WORDS = {"proposal.severity": "Wie schwer"}'),
        (".js", "say(`Nothing was sent meanwhile: ${count}`);"),
    ],
)
def test_the_search_finds_a_word_wherever_a_person_reads_it(tmp_path, suffix, text):
    path = tmp_path / f"planted{suffix}"
    path.write_text(text)

    assert [words for each in READ_BY[suffix](path) for words in retired_in(each)]
