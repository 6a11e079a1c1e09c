"""A small document: headings, paragraphs, lists and tables, as Markdown or as one HTML page.

Every text is escaped in both; the page carries its own style, no script and no link to anything.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from interlock.base.visible import made_visible

_MARKDOWN = re.compile(r"([\\`*_{}\[\]<>|#~&!])")
# What would begin a list at the start of a line.
_LIST_START = re.compile(r"^(\d*)([-+.)])(?=\s|$)")
_STYLE = """
body { font: 15px/1.45 sans-serif; color: #1a1a1a; margin: 2em auto; max-width: 72em;
  padding: 0 1em }
h1 { font-size: 1.6em } h2 { font-size: 1.25em; margin-top: 2em } h3 { font-size: 1.05em }
table { border-collapse: collapse; margin: 0.6em 0; width: 100% }
th, td { border: 1px solid #b8b8b8; padding: 0.3em 0.6em; text-align: left; vertical-align: top }
th { background: #ececec }
td { white-space: pre-line; overflow-wrap: anywhere }
@media print { body { margin: 0 } tr { break-inside: avoid } }
"""


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is the document's title."""

    level: int
    text: str


@dataclass(frozen=True)
class Paragraph:
    """A paragraph."""

    text: str


@dataclass(frozen=True)
class Items:
    """A list."""

    texts: tuple[str, ...]


@dataclass(frozen=True)
class Table:
    """A table; every row has as many cells as there are headings."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


Block = Heading | Paragraph | Items | Table


def table(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> Table:
    """A table of any sequences.

    >>> table(["a", "b"], [["1", "2"]]).rows
    (('1', '2'),)
    """
    return Table(tuple(headings), tuple(tuple(row) for row in rows))


def to_markdown(blocks: Iterable[Block]) -> str:
    """The document as Markdown.

    >>> to_markdown([Heading(1, "a_b"), Items(("x < y",))])
    '# a\\\\_b\\n\\n- x \\\\< y\\n'
    """
    return "\n\n".join(_markdown(block) for block in blocks) + "\n"


def _markdown(block: Block) -> str:
    match block:
        case Heading():
            return "#" * block.level + " " + _escaped(block.text)
        case Paragraph():
            return _escaped(block.text)
        case Items():
            return "\n".join(f"- {_escaped(text)}" for text in block.texts)
        case _:
            lines = [_row(block.headings), _row(["---"] * len(block.headings), plain=True)]
            return "\n".join(lines + [_row(row) for row in block.rows])


def _row(cells: Sequence[str], plain: bool = False) -> str:
    return "| " + " | ".join(cells if plain else map(_cell, cells)) + " |"


def _cell(text: str) -> str:
    return "<br>".join(_escaped(line) for line in text.split("\n"))


def _escaped(text: str) -> str:
    one_line = " ".join(made_visible(text).split())
    return _LIST_START.sub(r"\1\\\2", _MARKDOWN.sub(r"\\\1", one_line))


def _coded(text: str) -> str:
    return html.escape(made_visible(text))


def to_html(title: str, blocks: Iterable[Block]) -> str:
    """The document as one HTML page.

    >>> "&lt;b&gt;" in to_html("t", [Paragraph("<b>")])
    True
    """
    body = "\n".join(_html(block) for block in blocks)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>{_coded(title)}</title>\n<style>{_STYLE}</style>\n</head>\n"
        f"<body>\n{body}\n</body>\n</html>\n"
    )


def _html(block: Block) -> str:
    match block:
        case Heading():
            return f"<h{block.level}>{_coded(block.text)}</h{block.level}>"
        case Paragraph():
            return f"<p>{_coded(block.text)}</p>"
        case Items():
            rows = "".join(f"<li>{_coded(text)}</li>\n" for text in block.texts)
            return f"<ul>\n{rows}</ul>"
        case _:
            head = "".join(f'<th scope="col">{_coded(text)}</th>' for text in block.headings)
            rows = "".join(
                "<tr>" + "".join(f"<td>{_coded(cell)}</td>" for cell in row) + "</tr>\n"
                for row in block.rows
            )
            return f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table>"
