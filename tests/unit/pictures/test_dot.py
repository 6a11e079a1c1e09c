"""DOT text: any text may stand in it, and drawing it may fail in any way."""

from __future__ import annotations

import json
import stat
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.base.visible import made_visible
from interlock.pictures import dot
from interlock.pictures.dot import (
    Graph,
    Markup,
    NotDrawnError,
    Tool,
    escaped,
    find_tools,
    identifier,
    marked,
    render,
)

ANY_TEXT = st.text(st.characters(exclude_categories=[]), max_size=30) | st.sampled_from(
    [
        '"',
        "\\",
        '\\"',
        "\\N",
        "<b>x</b>",
        "<",
        "a\nb",
        "&lt;",
        "&#65;",
        "שלום ← abc",
        "\u202eabc",
        "x\\",
    ]
)
SVG = "{http://www.w3.org/2000/svg}"


def drawn_words(picture: bytes) -> str:
    """Everything written in an SVG, without white space."""
    texts = ElementTree.fromstring(picture).iter(f"{SVG}text")
    return "".join("".join("".join(text.itertext()).split()) for text in texts)


@settings(max_examples=150, deadline=None)
@given(ANY_TEXT)
def test_a_label_shows_exactly_its_text(text: str) -> None:
    graph = Graph("g")
    graph.node("n", text)
    assert drawn_words(render(graph.text, "svg")) == "".join(made_visible(text).split())


@settings(max_examples=150, deadline=None)
@given(ANY_TEXT)
def test_a_part_of_markup_shows_exactly_its_text(text: str) -> None:
    graph = Graph("g")
    cell = Markup(f'<TABLE BORDER="0"><TR><TD>{marked(text)}</TD></TR></TABLE>')
    graph.node("n", cell, shape="plain")
    assert drawn_words(render(graph.text, "svg")) == "".join(made_visible(text).split())


@settings(max_examples=60, deadline=None)
@given(ANY_TEXT, ANY_TEXT)
def test_any_words_name_nodes_and_different_words_name_different_nodes(a: str, b: str) -> None:
    graph = Graph(a)
    graph.node(identifier(a), "a")
    graph.node(identifier(b, a), "b")
    graph.edge(identifier(a), identifier(b, a), b)
    found = json.loads(render(graph.text, "json"))
    nodes = [item for item in found["objects"] if "nodes" not in item]
    assert len(nodes) == 2
    assert len(found["edges"]) == 1
    if a.isprintable() and b.isprintable():
        assert (identifier(a) == identifier(b)) == (a == b)


def test_characters_that_reorder_their_neighbours_are_replaced() -> None:
    assert made_visible("a\u202eb\x00c\r\nd") == "a<U+202E>b<U+0000>c\nd"


def test_text_in_angle_brackets_is_no_markup() -> None:
    graph = Graph("g")
    graph.node("n", "<b>x</b>")
    assert 'label="&lt;b&gt;x&lt;/b&gt;"' in graph.text
    assert escaped('a\\Nb\n"') == "a\\\\Nb\\n&quot;"


def test_clusters_cannot_crash_the_layout() -> None:
    assert "newrank=true" in Graph("g").text


def test_the_same_graph_gives_the_same_text() -> None:
    def text() -> str:
        graph = Graph("g", rankdir="LR")
        graph.node("a", "one", shape="box", color="red")
        graph.edge("a", "b", "two", style="dashed")
        return graph.text

    assert text() == text()


@pytest.mark.parametrize(("output", "start"), [("svg", b"<?xml"), ("png", b"\x89PNG")])
def test_both_formats_are_drawn(output: str, start: bytes) -> None:
    assert render("digraph { a -> b }", output).startswith(start)


def test_more_dots_per_inch_make_a_larger_picture() -> None:
    text = "digraph { a -> b }"
    assert len(render(text, "png", dpi=200)) > len(render(text, "png", dpi=50))


def script(folder: Path, name: str, body: str) -> Tool:
    """A program that draws badly."""
    file = folder / name
    file.write_text(f"#!{sys.executable}\n{body}\n", encoding="utf-8")
    file.chmod(file.stat().st_mode | stat.S_IXUSR)
    return Tool(file, False)


def test_a_wrong_text_is_an_error_with_the_reason() -> None:
    with pytest.raises(NotDrawnError, match=r"ended with 1: .*syntax error"):
        render("digraph { a -> ", "svg", tools=find_tools()[:1])


def test_a_program_that_hangs_is_given_up(tmp_path: Path) -> None:
    hanging = script(tmp_path, "hanging", "import time; time.sleep(60)")
    with pytest.raises(NotDrawnError, match=r"hanging took more than 0\.5 s"):
        render("digraph {}", "svg", timeout_s=0.5, tools=[hanging])


def test_a_program_that_fails_is_followed_by_the_next(tmp_path: Path) -> None:
    failing = script(tmp_path, "failing", "import sys; sys.exit('no fonts')")
    assert render("digraph {}", "svg", tools=[failing, *find_tools()]).startswith(b"<?xml")
    gone = Tool(tmp_path / "gone", True)
    with pytest.raises(NotDrawnError, match=r"failing ended with 1: no fonts; gone does not run"):
        render("digraph {}", "svg", tools=[failing, gone])


def test_without_any_program_the_error_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(dot, "find_tools", list)
    with pytest.raises(NotDrawnError, match="neither graphviz-pure nor dot was found"):
        render("digraph {}", "svg")
