"""A picture before it is drawn, or one that is drawn already."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from interlock.model.model import Model


@dataclass(frozen=True)
class Picture:
    """DOT or SVG text with a name and, for some, the same content as tables.

    Attributes
    ----------
    name : str
        Stem of its files.
    title : str
        One line for a list of pictures.
    text : str
        The DOT text, or the SVG text; empty where there are only tables.
    tables : mapping of str to str or bytes
        File name and content, such as a CSV table.
    is_svg : bool
        Whether it is drawn already.
    """

    name: str
    title: str
    text: str
    tables: Mapping[str, str | bytes] = field(default_factory=dict)
    is_svg: bool = False


def assumption_notes(model: Model) -> list[str]:
    """What a picture says where it assumes something else between two scans than its model."""
    declared = model.declared_between_scans
    if declared is None:
        return []
    says = model.between_scans.says
    return [f"Assumed: {says}, in place of '{declared}', which the model says."]
