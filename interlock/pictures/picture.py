"""A picture before it is drawn."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Picture:
    """DOT text with a name and, for some, the same content as a table.

    Attributes
    ----------
    name : str
        Stem of its files.
    title : str
        One line for a list of pictures.
    text : str
        The DOT text.
    tables : mapping of str to str
        File name and content, such as a CSV table.
    """

    name: str
    title: str
    text: str
    tables: Mapping[str, str] = field(default_factory=dict)
