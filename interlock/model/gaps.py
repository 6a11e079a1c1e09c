"""Gaps that somebody accepts: defects that no requirement notices, each with the reason.

A file ``gaps.yaml`` beside the model lists them by what is changed and how, in the words of
``interlock challenge``, not by lines, which every edit would move:

    accepted:
      - at: 'elec: OFF to ON'
        defects: ['guard: drop term at_rest']
        because: Nobody reaches the socket of a vehicle that moves.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from pydantic import BaseModel, ConfigDict, Field

from interlock.base.errors import Place
from interlock.model.files import read_text
from interlock.model.model import Model
from interlock.model.schema import Words
from interlock.model.shape import validated
from interlock.model.yaml import read

GAPS_FILE = "gaps.yaml"


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class EntryShape(_Shape):
    """Some gaps at one place with one reason."""

    at: Words
    defects: list[Words] = Field(min_length=1, max_length=200)
    because: Words


class GapsShape(_Shape):
    """A file of accepted gaps."""

    accepted: list[EntryShape] = Field(min_length=1, max_length=500)


@dataclass(frozen=True)
class Entry:
    """One accepted gap, as written.

    Attributes
    ----------
    at : str
        What is changed: what a statement assigns, a signal, a move.
    at_place, place : Place
        Where the file names it, and the defect.
    defect : str
        How it is changed.
    because : str
    """

    at: str
    at_place: Place
    defect: str
    place: Place
    because: str


@dataclass(frozen=True)
class Gaps:
    """Everything a file of accepted gaps says.

    Attributes
    ----------
    is_inherited : bool
        The file is that of the model which this one revises.
    """

    entries: tuple[Entry, ...] = ()
    is_inherited: bool = False
    sources: Mapping[str, str] = field(default_factory=dict, repr=False)


def find_gaps(model: Model) -> Gaps:
    """Read the gaps beside `model`; a revision without any has those of what it revises.

    Raises
    ------
    InputError
        With every mistake of the file's shape. Whether there are such defects is checked where
        they are seeded.
    """
    file = model.beside(GAPS_FILE)
    # A link that leads nowhere is a mistake, not a model without accepted gaps.
    if not file.exists() and not file.is_symlink():
        return Gaps()
    text = read_text(file)
    document = read(text, str(file))
    shape = validated(document, GapsShape, "accepted gaps: 'accepted: …'")
    entries = tuple(
        Entry(
            given.at,
            document.place(("accepted", number, "at")),
            defect,
            document.place(("accepted", number, "defects", nth)),
            given.because,
        )
        for number, given in enumerate(shape.accepted)
        for nth, defect in enumerate(given.defects)
    )
    return Gaps(entries, file.parent != model.folder, {str(file): text})
