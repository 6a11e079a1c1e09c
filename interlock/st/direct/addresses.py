"""Addresses of variables: which text stands for which place."""

from __future__ import annotations


def place_of(address: str) -> str:
    """One text for each place; empty where an address leaves its place open.

    Examples
    --------
    >>> place_of("%QX1.3"), place_of("%q1.3"), place_of("%MW4"), place_of("%I*")
    ('%q1.3', '%q1.3', '%mw4', '')
    """
    text = address.casefold()
    if "*" in text:
        return ""
    return text[:2] + text[3:] if text[2:3] == "x" else text
