"""How wide letters are in Helvetica, so that a text keeps its room whatever font draws it.

Layouts are computed for Helvetica; a machine without it or a metric twin draws with another font,
often a sixth wider, and texts would run out of their cells. SVG has ``textLength`` for this
(W3C SVG 2, 11.5): the drawn text is set to the width that the layout gave it.

Widths in thousandths of the size of letters, for the characters from blank to tilde (ASCII 32 to
126), as in Adobe's metrics of the core fonts Helvetica and Helvetica-Bold (AFM, from memory).
"""

from __future__ import annotations

import html
import re

_FIRST = 32
_PLAIN = (
    *(278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278),
    *(556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556),
    *(1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778),
    *(667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556),
    *(333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556),
    *(556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584),
)
_BOLD = (
    *(278, 333, 474, 556, 556, 889, 722, 238, 333, 333, 389, 584, 278, 333, 278, 278),
    *(556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 333, 333, 584, 584, 584, 611),
    *(975, 722, 722, 722, 722, 667, 611, 778, 722, 278, 556, 722, 611, 833, 722, 778),
    *(667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 333, 278, 333, 584, 556),
    *(333, 556, 611, 556, 611, 556, 333, 611, 611, 278, 278, 556, 278, 889, 611, 611),
    *(611, 611, 389, 556, 333, 611, 556, 778, 556, 556, 500, 389, 280, 389, 584),
)
_FIXED_PITCH = 600
_TEXT = re.compile(r"<text ([^>]*)>([^<]+)</text>")
_SIZE = re.compile(r'font-size="([0-9.]+)"')


def laid_out_width(
    words: str, size: float, *, is_bold: bool = False, is_code: bool = False
) -> float:
    """How wide the layout takes `words` to be, in the unit of `size`; code stands in Courier.

    Layouts count a character beyond ASCII as one blank for each of its bytes in UTF-8.

    >>> laid_out_width("A1", 10.0)
    12.23
    """
    if is_code:
        return len(words) * _FIXED_PITCH * size / 1000
    table = _BOLD if is_bold else _PLAIN
    total = 0
    for char in words:
        place = ord(char) - _FIRST
        total += table[place] if 0 <= place < len(table) else table[0] * len(char.encode())
    return total * size / 1000


def with_fixed_widths(svg: bytes) -> bytes:
    """A drawn layout whose texts are as wide as it took them to be, with any font."""
    return _TEXT.sub(_fixed, svg.decode("utf-8")).encode("utf-8")


def _fixed(found: re.Match[str]) -> str:
    look, content = found.groups()
    size = _SIZE.search(look)
    words = html.unescape(content)
    if size is None or len(words) < 2 or not words.strip():
        return found.group()
    width = laid_out_width(
        words,
        float(size.group(1)),
        is_bold='font-weight="bold"' in look,
        is_code="Courier" in look,
    )
    return f'<text {look} textLength="{width:.2f}" lengthAdjust="spacingAndGlyphs">{content}</text>'
