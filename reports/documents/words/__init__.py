"""The words of the documents a client reads, one catalogue a language, and how that language writes figures.

A catalogue is plain data: `WORDS` by key, with `{names}` for what changes, `MONTHS` and `PHRASES` (patterns for
the names of assumed defaults, which come from the computing code in English). A test proves that every language has
every key with the same names in it.
"""

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from reports.documents.words import de, en

_NUMBER = re.compile(r"\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+\.\d+")


@dataclass(frozen=True)
class Language:
    """One language: `code` as BCP 47 names it, its catalogue, and whether numbers are written 1.234,5."""

    code: str
    words: Mapping[str, str]
    months: Sequence[str]
    date_pattern: str
    comma_decimal: bool
    phrases: Sequence[tuple[str, str]] = ()

    def say(self, key: str, /, **values: object) -> str:
        """The catalogue's words for `key` with `values` put in; KeyError for a key it does not have."""
        return self.words[key].format(**values)

    def count(self, number: int, key: str) -> str:
        """A number with its noun: keys `count.<key>.one` and `count.<key>.many`."""
        return self.say(f"count.{key}.{'one' if number == 1 else 'many'}", n=number)

    def figures(self, text: str) -> str:
        """Text with English figures (1,234.5) written as this language writes them."""
        if not self.comma_decimal:
            return text
        return _NUMBER.sub(lambda found: found[0].translate({ord(","): ".", ord("."): ","}), text)

    def date(self, date: dt.date | None) -> str:
        """ "6 April 2026"; empty for no date."""
        if date is None:
            return ""
        return self.date_pattern.format(day=date.day, month=self.months[date.month - 1], year=date.year)

    def month(self, number: int) -> str:
        """The first three letters of a month, January is 1."""
        return self.months[number - 1][:3]

    def phrase(self, text: str) -> str:
        """The wording of a default as the computing code gives it, told in this language where it is known."""
        for pattern, said in self.phrases:
            text = re.sub(pattern, lambda found, said=said: self._filled(found, said), text)  # type: ignore[misc]
        return text

    def _filled(self, found: re.Match[str], said: str) -> str:
        return said.format(*[self.words.get(f"name.{part}", part) for part in found.groups()])


LANGUAGES: dict[str, Language] = {
    "en": Language("en", en.WORDS, en.MONTHS, "{day} {month} {year}", comma_decimal=False),
    "de": Language("de", de.WORDS, de.MONTHS, "{day}. {month} {year}", comma_decimal=True, phrases=de.PHRASES),
}


def language(code: str) -> Language:
    """The language of this code, English where there is none."""
    return LANGUAGES.get(code, LANGUAGES["en"])
