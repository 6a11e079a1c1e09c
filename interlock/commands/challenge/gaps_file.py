"""Gaps that somebody accepts: defects that no requirement notices, each with the reason.

A file ``gaps.yaml`` beside the model lists them by the reason, and then by what is changed and how,
in the words of ``interlock challenge``, not by lines, which every edit would move:

    accepted:
      - because: Nobody reaches the socket of a vehicle that moves.
        gaps:
          'elec: OFF to ON': ['guard: drop term at_rest']

Where the words fit several statements, they name the one that is meant, as the command tells them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from interlock.base.errors import Place
from interlock.base.files import is_there
from interlock.model.files import read_text
from interlock.model.model import Model
from interlock.model.schema_fields import Words
from interlock.model.shape import validated
from interlock.model.yaml import read

GAPS_FILE = "gaps.yaml"


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


_Defects = Annotated[list[Words], Field(min_length=1, max_length=200)]


class ReasonShape(_Shape):
    """A reason, and the gaps that it speaks of: what is changed, and how."""

    because: Words
    gaps: dict[Words, _Defects] = Field(min_length=1, max_length=500)


class GapsShape(_Shape):
    """A file of accepted gaps."""

    accepted: list[ReasonShape] = Field(min_length=1, max_length=500)


@dataclass(frozen=True)
class AcceptedGap:
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

    entries: tuple[AcceptedGap, ...] = ()
    is_inherited: bool = False


def find_gaps(model: Model) -> Gaps:
    """Read the gaps beside `model`; a revision without any has those of what it revises.

    Raises
    ------
    InputError
        With every mistake of the file's shape. Whether there are such defects is checked where
        they are seeded.
    """
    file = model.beside(GAPS_FILE)
    if not is_there(file):
        return Gaps()
    document = read(read_text(file), str(file))
    shape = validated(document, GapsShape, "accepted gaps: 'accepted: …'")
    entries = tuple(
        AcceptedGap(
            at,
            document.key_place(("accepted", number, "gaps", at)),
            defect,
            document.place(("accepted", number, "gaps", at, nth)),
            given.because,
        )
        for number, given in enumerate(shape.accepted)
        for at, defects in given.gaps.items()
        for nth, defect in enumerate(defects)
    )
    return Gaps(entries, file.parent != model.folder)
