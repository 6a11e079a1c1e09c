"""Where a character of a text stands in the file, whatever the style it was written in."""

from __future__ import annotations

import pytest

from interlock.model.yaml import read

WORDS = "lift = UP AND pin = 'x'"

STYLES = {
    "plain": "a:\n  b: lift = UP AND pin = 'x'\n",
    "over two lines": "a:\n  b: lift = UP\n    AND pin = 'x'\n",
    "single quotes": "a:\n  b: 'lift = UP AND pin = ''x'''\n",
    "double quotes": "a:\n  b: \"lift = UP AND pin = 'x'\"\n",
    "folded": "a:\n  b: >\n    lift = UP\n    AND pin = 'x'\n",
    "folded, with a comment that reads like the text": (
        "a:\n  b: >- # lift = UP AND pin\n    lift = UP AND\n    pin = 'x'\n"
    ),
    "literal": "a:\n  b: |-\n    lift = UP\n      AND pin = 'x'\n",
    "in a flow": "a: {b: 'lift = UP AND pin = ''x''', c: lift = UP}\n",
}


@pytest.mark.parametrize("text", STYLES.values(), ids=STYLES)
def test_every_word_is_found_where_it_stands(text: str) -> None:
    document = read(text, "model.yaml")
    assert isinstance(document.value, dict)
    inner = document.value["a"]
    assert isinstance(inner, dict)
    value = inner["b"]
    assert isinstance(value, str)
    assert value.split() == WORDS.split()
    lines = text.split("\n")
    for word in ("lift", "UP", "AND", "pin", "x"):
        place = document.place(("a", "b"), value.index(word))
        assert lines[place.line - 1][place.column - 1 :].startswith(word)


def test_the_end_of_a_text_has_a_place() -> None:
    place = read("a: pin =\nb: 1\n", "f").place(("a",), len("pin ="))
    assert (place.line, place.column) == (1, 9)


def test_a_path_that_is_not_there_has_the_place_of_what_is_around_it() -> None:
    document = read("a:\n  b: 1\n", "f")
    assert str(document.place(("a", "c", "d"))) == "f:2:3"
    assert str(document.key_place(("a", "b"))) == "f:2:3"


def test_words_stay_words() -> None:
    value = read("a: on\nb: 2026-01-01\nc: 1_000\nd: 0x1F\ne: TRUE\nf: ''\ng: ~\nh:\n", "f").value
    assert value == {"a": "on", "b": "2026-01-01", "c": "1_000", "d": "0x1F", "e": "TRUE", "f": "",
                     "g": None, "h": None}  # fmt: skip


def test_a_folded_text_is_folded_without_a_trace() -> None:
    assert read("a: >-\n  b\n  c\n\n  d\n", "f").value == {"a": "b c\nd"}
