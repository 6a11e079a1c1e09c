"""One step of a run as the judge has played it."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.kernel.system import MoveKind, Origin
from interlock.st.scans import ScanResult


@dataclass(frozen=True)
class Change:
    """A variable that changed: its name and its values as labels."""

    name: str
    before: str
    after: str


@dataclass(frozen=True)
class Happening:
    """One step of a run, as it is told.

    Attributes
    ----------
    move : str
        Name of the move.
    kind : MoveKind
    says : str
        The move in the trade's words; may be empty.
    changes : tuple of Change
        Machines, controls and outputs that changed.
    scan : ScanResult or None
        For a scan: what the program did.
    origin : Origin or None
        The fault, the timer or the late signal that it belongs to.
    ordered : tuple of Change
        Outputs that changed and take effect later.
    """

    move: str
    kind: MoveKind
    says: str
    changes: tuple[Change, ...]
    scan: ScanResult | None = None
    origin: Origin | None = None
    ordered: tuple[Change, ...] = ()
