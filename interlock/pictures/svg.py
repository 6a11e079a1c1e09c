"""SVG text, written by hand: elements, texts and numbers, the same bytes for the same picture.

Looks are presentation attributes, never a style sheet: several pictures may stand in one page, and
a page may forbid styles written in line. Lengths are in pixels of 1/96 inch.
"""

from __future__ import annotations

import html
import unicodedata
from collections.abc import Sequence
from functools import lru_cache

from interlock.base.visible import made_visible
from interlock.pictures.letters import laid_out_width
from interlock.pictures.style import FONT, INK, PAPER

# No renderer is asked how wide a text is; Helvetica's letters are about half as wide as high.
Look = dict[str, "str | float | None"]
"""Attributes of an element."""

_WIDE = frozenset("MWmw@%—…→")
_NARROW = frozenset("fijlrtI.,:;|!'()[] ")


# The same few words stand in picture after picture.
@lru_cache(maxsize=4096)
def coded(text: str) -> str:
    """`text` as it stands in an element or in an attribute."""
    return html.escape(made_visible(text).replace("\n", " "), quote=True)


def number(value: float) -> str:
    """A length or a coordinate, with a hundredth of a pixel at most.

    >>> number(3.0), number(2.504), number(-0.001)
    ('3', '2.5', '0')
    """
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def element(tag: str, *content: str, **attributes: str | float | None) -> str:
    """An element with its content, which is markup already.

    Parameters
    ----------
    **attributes : str, float or None
        ``stroke_width`` gives ``stroke-width``, ``class_`` gives ``class``; None leaves one out.
    """
    given = "".join(
        f' {name.rstrip("_").replace("_", "-")}="{_value(value)}"'
        for name, value in attributes.items()
        if value is not None
    )
    return f"<{tag}{given}>{''.join(content)}</{tag}>" if content else f"<{tag}{given}/>"


def _value(value: str | float) -> str:
    return coded(value) if isinstance(value, str) else number(value)


def text(x: float, y: float, words: str, **look: str | float | None) -> str:
    """A line of text that begins at (`x`, `y`), or ends or is centred there with text_anchor.

    It is as wide as in Helvetica, with any font; where characters beyond ASCII are in it, as wide
    as it comes.
    """
    size = look.get("font_size")
    if isinstance(size, int | float) and len(words) > 1 and words.isascii():
        is_bold, family = look.get("font_weight") == "bold", look.get("font_family") or FONT
        is_code = not str(family).startswith(FONT)
        width = laid_out_width(words, size, is_bold=is_bold, is_code=is_code)
        look = {**look, "textLength": width, "lengthAdjust": "spacingAndGlyphs"}
    return element("text", coded(words), x=x, y=y, **look)


def path_through(*points: tuple[float, float]) -> str:
    """The ``d`` of a path from point to point.

    >>> path_through((0, 2.504), (3, -1))
    'M0 2.5L3 -1'
    """
    return "M" + "L".join(f"{number(x)} {number(y)}" for x, y in points)


def width_of(words: str, size: float) -> float:
    """About how wide `words` are in Helvetica of `size` pixels; rather too wide than too narrow."""
    total = 0.0
    for char in words:
        if unicodedata.east_asian_width(char) in "WF":
            total += 1.0
        elif char in _WIDE:
            total += 0.95
        elif char in _NARROW:
            total += 0.34
        else:
            total += 0.7 if char.isupper() else 0.58
    return total * size


def size_within(words: str, room: float, most: float) -> float:
    """The size of letters, `most` or less, in which `words` are no wider than `room`."""
    return min(most, most * room / max(1.0, width_of(words, most)))


def picture(
    width: float,
    height: float,
    content: Sequence[str],
    *,
    title: str,
    says: str,
    prefix: str = "",
    corner: tuple[float, float] = (0, 0),
) -> str:
    """A whole picture on white, with its title and its content in words for who cannot see it.

    Parameters
    ----------
    width, height : float
        In pixels.
    content : sequence of str
        Elements.
    title, says : str
    prefix : str
        Stands before the ids of the picture, so that several can be in one page.
    corner : tuple of float
        What is at the picture's left and upper edges, in the coordinates of `content`.
    """
    head, told = f"{prefix}title", f"{prefix}desc"
    box = " ".join(map(number, (*corner, width, height)))
    paper = element("rect", x=corner[0], y=corner[1], width=width, height=height, fill=PAPER)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{number(width)}" '
        f'height="{number(height)}" viewBox="{box}" '
        f'role="img" aria-labelledby="{coded(head)} {coded(told)}" '
        f'font-family="{FONT}, Arial, sans-serif" fill="{INK}">\n'
        f'<title id="{coded(head)}">{coded(title)}</title>\n'
        f'<desc id="{coded(told)}">{coded(says)}</desc>\n'
        + "\n".join([paper, *content])
        + "\n</svg>\n"
    )


def wrapped_to(words: str, width: float, size: float) -> list[str]:
    """The lines of `words` in letters of `size`, none wider than `width` where words allow it."""
    lines = [""]
    for word in words.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and width_of(longer, size) > width:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines if words.strip() else []
