"""Drawings: what moves is bound with care, and what could do harm never gets in."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError, Mistake
from interlock.drawings import rules
from interlock.drawings.drawing import looks_of, read_drawing
from interlock.drawings.elements import Node
from interlock.model.load import load
from tests.unit.model.malformed import YAML, Case, Edit, edited, refused, write

SVG = "mimic.svg"
DRAWING = """\
<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 50">
  <style>.lit { fill: red } .dim { fill: #eee }</style>
  <rect id="bolt" width="10" height="5"/>
  <text id="name">pin <tspan id="state">in</tspan></text>
</svg>
"""
VIEW = """\
side_view:
  drawing: mimic.svg
  parts:
    bolt: {moved: {pin: {in: [0, 0], out: [5, 0]}}, look: {pull: {TRUE: lit, FALSE: dim}}}
    state: {value: pin}
requirements:"""


def _edits(view: str = VIEW, drawing: str = DRAWING) -> list[Edit]:
    return [(YAML, "requirements:", view), (SVG, "", drawing)]


def _bound(old: str, new: str) -> list[Edit]:
    assert VIEW.count(old) == 1
    return _edits(view=VIEW.replace(old, new))


def _drawn(old: str, new: str) -> list[Edit]:
    assert DRAWING.count(old) == 1
    return _edits(drawing=DRAWING.replace(old, new))


_RECT = '<rect id="bolt"'
_HREF = "http://www.w3.org/1999/xlink"

BINDINGS: dict[str, Case] = {
    "an id that the drawing does not have": (
        _bound("    bolt:", "    «bold:"),
        ["no element of mimic.svg has the id 'bold'; did you mean 'bolt'?"],
    ),
    "a value that the machine does not have": (
        _bound("out: [5, 0]", "«aut: [5, 0]"),
        ["'aut' is no value of pin; did you mean 'out'?"],
    ),
    "a value that is forgotten": (
        _bound("{pin: {in: [0, 0], out: [5, 0]}}", "{«pin: {in: [0, 0]}}"),
        ["nothing for pin = out; ELSE stands for all others"],
    ),
    "a value given twice in other letters": (
        _bound("out: [5, 0]", "out: [5, 0], «OUT: [6, 0]"),
        ["'OUT' is given twice"],
    ),
    "a machine that the model does not have": (
        _bound("value: pin", "value: «pim"),
        ["'pim' is not declared; did you mean 'pin'?"],
    ),
    "an expression as a key that is none": (
        _bound("{pull: {TRUE", "{pull AND« : {TRUE"),
        ["unexpected end of the expression"],
    ),
    "a class that the style sheet does not have": (
        _bound("TRUE: lit", "TRUE: «lid"),
        ["no class 'lid' in the style sheet of mimic.svg; did you mean 'lit'?"],
    ),
    "words for what is no text": (
        _bound("    bolt: {", "    «bolt: {value: pin, "),
        ["'bolt' is no text without parts, so it can show no words"],
    ),
    "words for a text that has parts": (
        _bound("    state:", "    «name:"),
        ["'name' is no text without parts, so it can show no words"],
    ),
    "words twice for one text": (
        _bound("{value: pin}", "{«value: pin, text: {pin: {in: a, out: b}}}"),
        ["'value' and 'text' exclude each other"],
    ),
    "a signal, which may lie": (
        _bound("value: pin", "value: «pin_in"),
        ["'pin_in' is not declared"],
    ),
    "a condition that is no condition": (
        _bound("{value: pin}", "{shown: «pin}"),
        ["pin is of type pin; expected BOOL"],
    ),
    "a drawing elsewhere": (
        _bound("drawing: mimic.svg", "drawing: «../mimic.svg"),
        ["the drawing must be a file in the model's own folder, such as mimic.svg"],
    ),
    "a drawing that is not there": (
        _bound("drawing: mimic.svg", "drawing: «mimik.svg"),
        ["no such file: mimik.svg; did you mean 'mimic.svg'?"],
    ),
    "a shift of one number": (
        _bound("out: [5, 0]", "out: «[5]"),
        ["at least 2"],
    ),
}

HOSTILE: dict[str, Case] = {
    "a script": (
        _drawn(_RECT, "«<script>alert(1)</script><rect id='bolt'"),
        ["'script' has no place in a drawing: a drawing runs nothing"],
    ),
    "a script behind another prefix": (
        _drawn(_RECT, "<g xmlns:s='http://www.w3.org/2000/svg'>«<s:script/></g><rect id='bolt'"),
        ["'script' has no place in a drawing: a drawing runs nothing"],
    ),
    "an event": (
        _drawn(_RECT, "«" + _RECT + " onclick='alert(1)'"),
        ["'onclick' has no place in a drawing: a drawing runs nothing"],
    ),
    "a page inside": (
        _drawn(_RECT, "«<foreignObject/><rect id='bolt'"),
        ["'foreignObject' has no place in a drawing: a drawing holds nothing but SVG"],
    ),
    "an element of HTML": (
        _drawn(_RECT, "«<p xmlns='http://www.w3.org/1999/xhtml'/><rect id='bolt'"),
        ["'p' is not of SVG; save the drawing as plain SVG"],
    ),
    "a picture from elsewhere": (
        _drawn(_RECT, "«<image href='http://example.org/a.png'/><rect id='bolt'"),
        ["'href' has no place in 'image'", "'image' has no place in a drawing"],
    ),
    "a link": (
        _drawn(_RECT, "«<a/><rect id='bolt'"),
        ["'a' has no place in a drawing: a drawing leads nowhere"],
    ),
    "a movement of its own": (
        _drawn(_RECT, "«<animate/><rect id='bolt'"),
        ["'animate' has no place in a drawing: the state of the model moves a drawing"],
    ),
    "a reference to another file": (
        _drawn(_RECT, f"«<use xmlns:x='{_HREF}' x:href='b.svg#c'/><rect id='bolt'"),
        ["a drawing refers to nothing outside of it"],
    ),
    "a reference to nothing": (
        _drawn(_RECT, "«<use href='#bolts'/><rect id='bolt'"),
        ["no element has the id 'bolts'; did you mean 'bolt'?"],
    ),
    "a fill from elsewhere": (
        _drawn(_RECT, "«" + _RECT + " fill='url(http://example.org/a)'"),
        ["a drawing refers to nothing outside of it; write url(#id)"],
    ),
    "a fill from elsewhere in a style": (
        _drawn(_RECT, "«" + _RECT + " style='fill: url(//example.org/a)'"),
        ["a drawing refers to nothing outside of it; write url(#id)"],
    ),
    "an escape that hides a reference": (
        _drawn(_RECT, "«" + _RECT + r" fill='\75rl(http://example.org/a)'"),
        ["a backslash has no place in 'fill'"],
    ),
    "a function that loads": (
        _drawn(_RECT, "«" + _RECT + " fill='image-set(&quot;a&quot;)'"),
        ["'image-set()' has no place in 'fill'"],
    ),
    "a style sheet that loads another": (
        _drawn("<style>.lit { fill: red }", "<style>\n«@import 'a.css'; .lit { fill: red }"),
        ["is no class; write .name { … }"],
    ),
    "a style sheet that reaches the whole page": (
        _drawn("<style>.lit { fill: red }", "<style>.lit { fill: red }\n«body { display: none }"),
        ["'body' is no class; write .name { … }"],
    ),
    "a property that could cover the page": (
        _drawn(".lit { fill: red }", ".lit { fill: red }\n.cover { «position: fixed }"),
        ["'position' has no place in a drawing"],
    ),
    "a document type": (
        _edits(drawing='«<!DOCTYPE svg SYSTEM "a.dtd">\n' + DRAWING),
        ["a document type or an entity has no place in a drawing"],
    ),
    "entities that unfold": (
        _edits(drawing='«<!DOCTYPE svg [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]>\n' + DRAWING),
        ["a document type or an entity has no place in a drawing"],
    ),
    "an instruction to load a style sheet": (
        _edits(drawing='«<?xml-stylesheet href="a"?>\n' + DRAWING),
        ["a processing instruction ('xml-stylesheet') has no place in a drawing"],
    ),
    "no SVG at all": (
        _edits(drawing="«<html/>"),
        ["expected 'svg' of the namespace http://www.w3.org/2000/svg"],
    ),
    "half a drawing": (
        _drawn("</svg>\n", "«"),
        ["not valid XML: no element found"],
    ),
    "no size": (
        _drawn(
            '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 50">',
            '«<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 0">',
        ),
        ["the drawing needs a viewBox of four numbers"],
    ),
    "an id twice": (
        _drawn(_RECT, "<g id='bolt'/>«" + _RECT),
        ["the id 'bolt' is given twice; first in line 3"],
    ),
    "an id that would break out of its place": (
        _drawn(_RECT, "«<g id='a&quot;b'/>" + _RECT),
        ["'a\"b' is no id"],
    ),
    "what is used uses something itself": (
        _drawn(_RECT, "<g id='a'><use href='#bolt'/></g>«<use href='#a'/>" + _RECT),
        ["'a' holds a 'use' itself and cannot be used again"],
    ),
    "something that uses itself": (
        _drawn(_RECT, "<g id='a'>«<use href='#a'/></g>" + _RECT),
        ["'a' holds a 'use' itself and cannot be used again"],
    ),
    "words outside of a text": (
        _drawn(_RECT, "«words" + _RECT),
        ["words have no place in 'svg'; they go into a 'text'"],
    ),
    "a misspelt attribute": (
        _drawn(_RECT, "«" + _RECT + " filll='red'"),
        ["'filll' has no place in a drawing; did you mean 'fill'?"],
    ),
}


def test_the_small_drawing_itself_is_sound(tmp_path: Path) -> None:
    write(tmp_path, edited(_edits()))
    moving = load(tmp_path).side_view
    assert moving is not None
    assert [part.id for part in moving.parts] == ["bolt", "state"]
    assert moving.parts[0].moved[0].results == ((0, 0), (5, 0))
    assert moving.parts[1].text is not None
    assert moving.parts[1].text.results == ("in", "out")


@pytest.mark.parametrize("case", [*BINDINGS.values(), *HOSTILE.values()], ids=[*BINDINGS, *HOSTILE])
def test_each_mistake_is_told_at_its_place(
    case: Case, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    told, marked = refused(case, tmp_path, monkeypatch)
    assert set(told) == set(marked)


def test_else_stands_for_every_value_that_is_not_named(tmp_path: Path) -> None:
    view = VIEW.replace("{in: [0, 0], out: [5, 0]}", "{ELSE: [1, 2], out: [5, 0]}")
    write(tmp_path, edited(_edits(view)))
    moving = load(tmp_path).side_view
    assert moving is not None
    assert moving.parts[0].moved[0].results == ((1, 2), (5, 0))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("<g>" * 5_000, "deep in each other"),
        ("<g/>" * 5_000, f"more than {rules.MAX_ELEMENTS:,} elements"),
        (f"<!--{'x' * rules.MAX_BYTES}-->", f"larger than {rules.MAX_BYTES:,} bytes"),
        (
            "<g id='a'>" + "<path/>" * 200 + "</g>" + "<use href='#a'/>" * 200,
            f"'use' repeats more than {rules.MAX_USED:,} elements",
        ),
    ],
)
def test_what_would_unfold_into_something_huge_is_refused_at_once(text: str, says: str) -> None:
    started = time.monotonic()
    with pytest.raises(InputError) as caught:
        read_drawing(DRAWING.replace("</svg>", f"{text}</svg>"), SVG)
    assert says in str(caught.value)
    assert time.monotonic() - started < 2


def test_a_class_outranks_an_attribute_and_a_style_outranks_both() -> None:
    # CSS Cascading and Inheritance Level 4, 6.4 and 6.5 (from memory).
    text = DRAWING.replace(
        _RECT,
        "<g id='g' fill='green' class='lit'><path id='p' class='lit' style='fill: blue'/></g>"
        + _RECT,
    )
    drawing = read_drawing(text, SVG)
    assert looks_of(drawing.ids["g"], drawing.classes)["fill"] == "red"
    assert looks_of(drawing.ids["p"], drawing.classes)["fill"] == "blue"


def test_later_rules_outrank_earlier_ones_however_the_classes_are_listed() -> None:
    drawing = read_drawing(DRAWING.replace(_RECT, _RECT + " class='dim lit'"), SVG)
    assert looks_of(drawing.ids["bolt"], drawing.classes)["fill"] == "#eee"


def test_a_revision_may_take_a_part_away_with_its_machine(tmp_path: Path) -> None:
    base, own = tmp_path / "base", tmp_path / "own"
    write(base, edited(_edits()))
    write(own, {YAML: "title: t\nrevises: ../base\nside_view: {parts: {state: null}}\n"})
    moving = load(own).side_view
    assert moving is not None
    assert [part.id for part in moving.parts] == ["bolt"]


def test_a_revision_cannot_take_away_what_is_not_there(tmp_path: Path) -> None:
    base, own = tmp_path / "base", tmp_path / "own"
    write(base, edited(_edits()))
    write(own, {YAML: "title: t\nrevises: ../base\nside_view: {parts: {stat: null}}\n"})
    with pytest.raises(InputError, match=r"nothing to remove.*'stat'; did you mean 'state'"):
        load(own)


_PIECES = [
    "<",
    ">",
    "&",
    "&x;",
    '"',
    "'",
    "url(",
    "#bolt",
    "]]>",
    "<!--",
    "\0",
    "{",
    "}",
    "é",
    "</g>",
]


@settings(max_examples=150, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(0, len(DRAWING)), st.integers(0, 6), st.sampled_from(_PIECES)),
        min_size=1,
        max_size=4,
    )
)
def test_a_damaged_drawing_is_read_or_refused_with_a_place_and_nothing_else(
    damages: list[tuple[int, int, str]],
) -> None:
    text = DRAWING
    for at, n_lost, piece in damages:
        text = text[:at] + piece + text[at + n_lost :]
    mistakes: tuple[Mistake, ...] = ()
    nodes: list[Node] = []
    try:
        nodes = list(read_drawing(text, SVG).root.all())
    except InputError as error:
        mistakes = error.mistakes
    assert bool(mistakes) != bool(nodes)
    for mistake in mistakes:
        assert 1 <= mistake.place.line <= text.count("\n") + 1
        assert mistake.place.column >= 1
        assert "\n" not in mistake.says
    for node in nodes:
        assert node.tag in rules.ELEMENTS
        assert set(node.attributes) <= rules.ATTRIBUTES
