"""The words of the documents a client reads, one catalogue a language.

A catalogue is plain data: `WORDS` by key, with `{names}` for what changes, and `PHRASES` (patterns for the names of
assumed defaults, which come from the computing code in English). A test proves that every language has every key
with the same names in it. How figures are written is `sites.core.writing`.
"""

import datetime as dt
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from reports.documents.words import de, en
from sites.core import writing


@dataclass(frozen=True)
class Language:
    """One language: `code` is the locale it is written in as BCP 47 names it (en-US, de), `words` its catalogue."""

    code: str
    words: Mapping[str, str]
    phrases: Sequence[tuple[str, str]] = ()

    def say(self, key: str, /, **values: object) -> str:
        """The catalogue's words for `key` with `values` put in; KeyError for a key it does not have."""
        return self.words[key].format(**values)

    def count(self, number: int, key: str) -> str:
        """A number with its noun: keys `count.<key>.one` and `count.<key>.many`."""
        return self.say(f"count.{key}.{'one' if number == 1 else 'many'}", n=number)

    def date(self, date: dt.date | None) -> str:
        """ "6 April 2026"; empty for no date."""
        if date is None:
            return ""
        with writing.written_for(self.code):
            return writing.long_day(date)

    def month(self, number: int) -> str:
        """The first three letters of a month, January is 1."""
        with writing.written_for(self.code):
            return writing.month_short(number)

    def phrase(self, text: str) -> str:
        """The wording of a default as the computing code gives it, told in this language where it is known."""
        for pattern, said in self.phrases:
            text = re.sub(pattern, partial(self._filled, said=said), text)
        return text

    def _filled(self, found: re.Match[str], said: str) -> str:
        return said.format(*[self.words.get(f"name.{part}", part) for part in found.groups()])


CATALOGUES: dict[str, tuple[Mapping[str, str], Sequence[tuple[str, str]]]] = {
    "en": (en.WORDS, ()),
    "de": (de.WORDS, de.PHRASES),
}


def language(code: str) -> Language:
    """The language of this locale or language code; British English where there is none, or no more than "en"."""
    spoken = code.partition("-")[0]
    known = spoken in CATALOGUES
    return Language(code if known and code != "en" else writing.DEFAULT, *CATALOGUES[spoken if known else "en"])
