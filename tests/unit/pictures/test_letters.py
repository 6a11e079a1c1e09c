"""Texts keep the room that the layout gave them, whatever font draws them."""

from __future__ import annotations

import html
import re

import pytest

from interlock.pictures.dot import render
from interlock.pictures.letters import laid_out_width, with_fixed_widths

_WIDTH = re.compile(r'<title>(\w+)</title>\s*<polygon[^>]* points="([^"]+)"')
_LETTERS = [chr(code) for code in range(33, 127)]


def as_label(letter: str) -> str:
    return html.escape(letter, quote=True).replace("\\", "\\\\")


@pytest.mark.parametrize("is_bold", [False, True])
def test_every_letter_is_as_wide_as_the_renderer_takes_it_to_be(is_bold: bool) -> None:
    # A box without margin round one letter of 1000 points, laid out by Graphviz.
    mark = ("<B>", "</B>") if is_bold else ("", "")
    nodes = "".join(
        f"n{ord(letter)} [label=<{mark[0]}{as_label(letter)}{mark[1]}>];" for letter in _LETTERS
    )
    look = "fontname=Helvetica,fontsize=1000,margin=0,shape=box,width=0,height=0"
    drawn = render(f"digraph {{ node [{look}]; {nodes} }}", "svg").decode()
    found = {}
    for name, points in _WIDTH.findall(drawn):
        across = [float(point.split(",")[0]) for point in points.split()]
        found[chr(int(name[1:]))] = max(across) - min(across)
    assert sorted(found) == _LETTERS
    for letter, width in found.items():
        assert laid_out_width(letter, 1000, is_bold=is_bold) == pytest.approx(width, abs=2), letter


def test_a_drawn_text_says_its_width() -> None:
    drawn = render('digraph { a [label="T & <1>", fontname=Helvetica, fontsize=10] }', "svg")
    found = re.search(rb'textLength="([0-9.]+)" lengthAdjust="spacingAndGlyphs">T &amp;', drawn)
    assert found is not None
    # Adobe's metrics of Helvetica (AFM, from memory): T 611, blank 278, & 667, < and > 584, 1 556.
    assert float(found.group(1)) == pytest.approx((611 + 2 * 278 + 667 + 2 * 584 + 556) / 100)


def test_single_letters_and_blanks_stay_as_they_are() -> None:
    for content in ("T", "&#160;&#160;", "&amp;"):
        svg = f'<text x="1" font-size="10.00">{content}</text>'.encode()
        assert with_fixed_widths(svg) == svg
