"""Cleaning, measuring and breaking text."""

from hypothesis import given
from hypothesis import strategies as st

from reports.documents.kit import look
from reports.documents.kit.text import ELLIPSIS, MISSING, one_line, plain, width_of, wrap

WIDTHS = st.floats(min_value=12.0, max_value=500.0)


def test_control_and_bidi_characters_are_removed():
    assert plain("a\x00b\x1b[31mc\u202ed\u200be\ud800f") == "ab[31mcdef"


def test_markup_stays_as_it_was_typed():
    typed = '<img src="http://x/y.png"/><b>bold &amp; <a href="javascript:1">'
    assert plain(typed) == typed


def test_characters_without_a_glyph_become_the_stand_in():
    assert plain("水 garden 😀") == f"{MISSING} garden {MISSING}"


def test_european_scripts_are_printed_as_they_are():
    for text in ("Łódź Zürich Ærø ğ ő", "Αθήνα", "Київ", "→ ✓ ≥ ≤ ½ ° ² ³ € £ −"):
        assert plain(text) == text


def test_decomposed_letters_are_composed():
    assert plain("u\u0308") == "ü"


def test_line_ends_of_every_kind_start_a_new_line():
    assert wrap("a\r\nb\rc\u2028d\x85e", look.BODY, 200.0) == ("a", "b", "c", "d", "e")


def test_many_empty_lines_become_one():
    assert wrap("\n\n\na\n\n\n\n\nb\n\n", look.BODY, 200.0) == ("a", "", "b")


@given(st.text(max_size=400), WIDTHS)
def test_no_line_is_wider_than_the_room_and_no_character_is_lost(text, width):
    lines = wrap(text, look.BODY, width)
    for line in lines:
        assert width_of(line, look.BODY) <= width + 0.01
    assert "".join("".join(lines).split(" ")) == "".join(plain(text).replace("\n", " ").split(" "))


@given(st.text(max_size=200), WIDTHS)
def test_one_line_fits_and_says_when_it_was_cut(text, width):
    line = one_line(text, look.BODY, width)
    assert "\n" not in line
    assert width_of(line, look.BODY) <= max(width, width_of(ELLIPSIS, look.BODY)) + 0.01
    whole = " ".join(plain(text).replace("\n", " ").split(" "))
    assert line.endswith(ELLIPSIS) or line == " ".join(word for word in whole.split(" ") if word)


def test_a_very_long_word_is_broken():
    lines = wrap("x" * 5000, look.BODY, 100.0)
    assert "".join(lines) == "x" * 5000
    assert len(lines) > 100
