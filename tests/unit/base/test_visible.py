"""What cannot be seen in a text, and what turns the text around it, is shown as a mark."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.base.visible import in_one_line, is_unseen, made_visible, turns_direction

# Unicode Standard Annex 9 (UAX #9), table 4 and section 2: Bidi_Control. From memory.
DIRECTION = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
# Default_Ignorable_Code_Point (DerivedCoreProperties.txt), ends of its ranges. From memory.
IGNORABLE = (
    "\u00ad\u034f\u115f\u1160\u17b4\u17b5\u180b\u180f\u200b\u200c\u200d\u2060\u2064\u206a\u206f"
    "\u3164\ufe00\ufe0f\ufeff\uffa0\ufff0\ufff8\U0001bca0\U0001bca3\U0001d173\U0001d17a"
    "\U000e0000\U000e0001\U000e0061\U000e0100\U000e01ef\U000e0fff"
)


@pytest.mark.parametrize("character", DIRECTION + IGNORABLE + "\ufff9\u2028\u2029\x00\x1b\x7f\x85")
def test_what_is_not_seen_has_a_mark(character: str) -> None:
    assert is_unseen(character)
    assert made_visible(f"a{character}b") == f"a<U+{ord(character):04X}>b"


# U+0600 and U+06DD are format characters that are drawn.
@pytest.mark.parametrize(
    "text", ["שלום עולם", "مرحبا", "é e\u0301", "a\u00a0b", "😀", "\u0600\u06dd", "<b>"]
)
def test_what_is_seen_stays(text: str) -> None:
    assert made_visible(text) == text
    assert in_one_line(text) == text


def test_lines_stay_lines_where_there_may_be_several() -> None:
    assert made_visible("a\r\nb\rc\n\td") == "a\nb\nc\n d"
    assert in_one_line("a\nb\tc") == "a<U+000A>b<U+0009>c"


def test_half_a_character_and_what_is_none_have_marks() -> None:
    assert made_visible("\ud800\uffff") == "<U+D800><U+FFFF>"


@pytest.mark.parametrize("character", "\u202a\u202e\u2066\u2069")
def test_what_turns_direction_is_known_by_itself(character: str) -> None:
    assert turns_direction(character)


@pytest.mark.parametrize("character", "\u200e\u200f\u061c\u200b\u00ada")
def test_a_mark_of_direction_alone_turns_nothing_around(character: str) -> None:
    assert not turns_direction(character)


@given(st.text(st.characters(exclude_categories=[])))
def test_what_was_made_visible_is_seen_and_stays_as_it_is(text: str) -> None:
    shown = made_visible(text)
    assert not any(is_unseen(c) for c in shown if c != "\n")
    assert {unicodedata.category(c) for c in shown if c != "\n"} & {"Cc", "Cs", "Cn"} == set()
    assert made_visible(shown) == shown
    assert in_one_line(text).count("\n") == 0
