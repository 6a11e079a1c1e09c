"""The manifest of an evidence folder: what the files are and what they are evidence of.

The text is canonical: read and written again it must be the same bytes. Its last entry is a hash
of the rest. That is no signature; it makes an accident visible. What is claimed is checked by
what it must imply, not by hashes.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from interlock.base.errors import InputError, Mistake, Place, place_after
from interlock.base.files import sha256
from interlock.evidence.script import Outline
from interlock.kernel.certificate import Case, Invariant, Ladder, Rung, Shrinking
from interlock.kernel.evaluate import State
from interlock.kernel.query import Query, Reach, Stay, Trap

MANIFEST = "manifest.json"
MAX_BYTES = 2_000_000

_STRICT = ConfigDict(extra="forbid", frozen=True)


class ClassEntry(BaseModel):
    """A run class."""

    model_config = _STRICT

    faults: list[str] = Field(default_factory=list)
    at_most: int | None = 0
    human: bool = False


class InvariantEntry(BaseModel):
    """An invariant: of scanned states or of all, and its cases with the indices of their sets."""

    model_config = _STRICT

    scanned: bool
    split: list[str] = Field(default_factory=list)
    cases: list[tuple[list[int], int]]


class LadderEntry(BaseModel):
    """A ladder: indices of sets with the move of each, and by way of which state."""

    model_config = _STRICT

    rungs: list[tuple[int, str]]
    home: list[int] | None = None
    run: list[str] = Field(default_factory=list)


class SystemEntry(BaseModel):
    """A system with the observers of some requirements, and what its sets are for.

    Queries are called ``<requirement>.<number>``, counted from 1 in the order in which the
    requirement puts them. Where the bound of a response is in milliseconds, `within` has the scans
    that it is shown to take at most; what else takes time is arithmetic.
    """

    model_config = _STRICT

    run_class: str
    requirements: list[str]
    within: dict[str, int] = Field(default_factory=dict)
    sets: int = Field(ge=1)
    invariant: InvariantEntry
    stays: dict[str, list[tuple[int, str]]] = Field(default_factory=dict)
    ladders: dict[str, LadderEntry] = Field(default_factory=dict)
    dead_ends: dict[str, int] = Field(default_factory=dict)


class VerdictEntry(BaseModel):
    """A requirement's verdict and the evidence of it.

    `met` has a run for each part of its premise, in the order in which the requirement puts them:
    in the state it leads to, that part is so. What was never put to the test does not hold.
    """

    model_config = _STRICT

    run_class: str
    outcome: Literal["holds", "violated", "undecided"]
    system: str | None = None
    run: str | None = None
    met: list[list[str]] = Field(default_factory=list)
    limit: str | None = None
    not_recheckable: str | None = None


class Manifest(BaseModel):
    """Everything a manifest says but its seal; `folder` leads from the evidence to the model."""

    model_config = _STRICT

    interlock_evidence: Literal[4] = 4
    interlock: str
    model: str
    folder: str
    title: str
    inputs: dict[str, str]
    between_scans: str
    classes: dict[str, ClassEntry]
    systems: dict[str, SystemEntry]
    verdicts: dict[str, VerdictEntry]
    files: dict[str, str]


def to_text(manifest: Manifest) -> str:
    """The manifest's text, sealed: the same evidence, the same bytes."""
    data: dict[str, Any] = manifest.model_dump()
    data["seal"] = sha256(_plain_text(data))
    return _plain_text(data)


def _plain_text(data: dict[str, Any]) -> str:
    return json.dumps(data, indent=1, ensure_ascii=True) + "\n"


def parse(content: bytes, file: str) -> Manifest:
    """Read a manifest.

    Raises
    ------
    InputError
        Where it is not one, or not as it was written.
    """
    try:
        text = content.decode("ascii")
        data = json.loads(text)
    except UnicodeDecodeError as error:
        place = place_after(file, content[: error.start].decode("ascii"))
        raise bad(place, "not a manifest: a byte that is not ASCII") from None
    except json.JSONDecodeError as error:
        says = f"not a manifest: {error.msg[:1].lower()}{error.msg[1:]}"
        raise bad(Place(file, error.lineno, error.colno), says) from None
    except (RecursionError, ValueError):
        raise bad(file, "not a manifest") from None
    if not isinstance(data, dict):
        raise bad(file, "not a manifest")
    seal = data.pop("seal", None)
    if seal is None:
        raise bad(file, "the manifest has no seal")
    if seal != sha256(_plain_text(data)) or text != _plain_text({**data, "seal": seal}):
        raise bad(file, "the manifest is not as it was written: its seal does not fit")
    return _validated(data, text, file)


def _validated(data: dict[str, Any], text: str, file: str) -> Manifest:
    try:
        return Manifest.model_validate(data)
    except ValidationError as error:
        first = error.errors()[0]
        where = ".".join(str(part) for part in first["loc"])
        line = next(
            (n for n, s in enumerate(text.split("\n"), 1) if f'"{first["loc"][-1]}"' in s), 1
        )
        says = f"{where}: {first['msg'][:1].lower()}{first['msg'][1:]}"
        raise bad(Place(file, line, 1), says) from None


def bad(where: str | Place, says: str) -> InputError:
    """Evidence that is not what it should be, as an error with its place, or with its file."""
    place = where if isinstance(where, Place) else Place(where, 1, 1)
    return InputError([Mistake(place, says)])


def outline_of(
    entry: SystemEntry, queries: Mapping[str, Query], ends: Mapping[str, State]
) -> Outline:
    """What a system's script must ask.

    Parameters
    ----------
    entry : SystemEntry
    queries : mapping of str to Query
        All that the requirements put to the system, by what they are called.
    ends : mapping of str to State
        Where the run to each dead end leads.
    """
    invariant = Invariant(
        entry.invariant.scanned,
        tuple(entry.invariant.split),
        tuple(Case(tuple(values), within) for values, within in entry.invariant.cases),
    )
    return Outline(
        invariant,
        {n: q for n, q in queries.items() if isinstance(q, Reach)},
        {
            n: (q, tuple(Shrinking(inside, debt) for inside, debt in entry.stays[n]))
            for n, q in queries.items()
            if isinstance(q, Stay) and n in entry.stays
        },
        {
            n: (q, _ladder_of(entry.ladders[n]))
            for n, q in queries.items()
            if isinstance(q, Trap) and n in entry.ladders
        },
        {
            n: (q, entry.dead_ends[n], ends[n])
            for n, q in queries.items()
            if isinstance(q, Trap) and n in entry.dead_ends
        },
    )


def _ladder_of(entry: LadderEntry) -> Ladder:
    home = None if entry.home is None else tuple(entry.home)
    rungs = tuple(Rung(within, move) for within, move in entry.rungs)
    return Ladder(rungs, home, tuple(entry.run))
