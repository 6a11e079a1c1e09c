"""Numbers with their nouns."""

from __future__ import annotations


def counted(n: int, noun: str, plural: str = "") -> str:
    """A number with its noun.

    >>> counted(1, "state"), counted(12000, "state"), counted(2, "box", "boxes")
    ('1 state', '12,000 states', '2 boxes')
    """
    return f"{n:,} {noun if n == 1 else plural or noun + 's'}"
