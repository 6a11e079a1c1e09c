"""What cannot be seen in a text, shown as a mark: ``<U+202E>``.

A text of somebody else can hold characters that nothing is drawn for, and such as turn what stands
around them: a comment could seem to be a statement, a name another one. Pages, pictures, terminals
and messages show a mark in place of each.

Source: Unicode Standard Annex 9 (bidirectional algorithm), section 2, and the property
Default_Ignorable_Code_Point of the Unicode Character Database (Annex 44); both from memory.
"""

from __future__ import annotations

import unicodedata

# Embeddings, overrides and isolates: they turn all that follows, up to their end.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")
# Letters, marks and signs that are drawn as nothing; format characters are known by their category.
_DRAWN_AS_NOTHING = frozenset(
    chr(code)
    for first, last in (
        (0x034F, 0x034F),
        (0x115F, 0x1160),
        (0x17B4, 0x17B5),
        (0x180B, 0x180F),
        (0x3164, 0x3164),
        (0xFE00, 0xFE0F),
        (0xFFA0, 0xFFA0),
        (0xE0100, 0xE01EF),
    )
    for code in range(first, last + 1)
)
# Format characters that are drawn: signs around numbers (Prepended_Concatenation_Mark).
_DRAWN = frozenset("\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2") | {
    "\U000110bd",
    "\U000110cd",
}
# Controls, format, halves of pairs, private and unassigned; separators of lines and paragraphs.
_UNSEEN = frozenset(("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"))


def turns_direction(character: str) -> bool:
    """Whether a character turns the direction in which what follows is written."""
    return character in _TURNING


def is_unseen(character: str) -> bool:
    """Whether nothing is drawn for a character, or nobody can say what; a space is seen."""
    if character in _DRAWN_AS_NOTHING:
        return True
    return unicodedata.category(character) in _UNSEEN and character not in _DRAWN


def made_visible(text: str) -> str:
    """`text` with a mark for each character that is not seen; lines stay, a tab becomes a space.

    >>> made_visible("paid\\u202e01\\n")
    'paid<U+202E>01\\n'
    """
    if text.isascii() and text.isprintable():
        return text
    lines = text.replace("\r\n", "\n").replace("\r", "\n").replace("\t", " ").split("\n")
    return "\n".join(map(in_one_line, lines))


def in_one_line(text: str) -> str:
    """As `made_visible`, with marks for ends of lines and tabs too."""
    if text.isprintable() and _DRAWN_AS_NOTHING.isdisjoint(text):
        return text
    return "".join(f"<U+{ord(c):04X}>" if is_unseen(c) else c for c in text)
