"""The steps of a run as lines: time and scans in which nothing is seen are told as one.

So lines are what one steps over and what the list of the run shows; each is a range of steps.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from interlock.commands.operate.passing import seconds
from interlock.commands.operate.session import Session
from interlock.independent_judge.story import WHO
from interlock.kernel.system import MoveKind
from interlock.model.timing import TICK

Line = tuple[int, int]
"""The first and the last step of a line."""


def lines_of(session: Session) -> list[Line]:
    """All lines of a run, the steps behind the present one included."""
    found: list[Line] = []
    for number, entry in enumerate(session.entries, 1):
        is_joined = number > 1 and entry.is_unseen and session.entries[number - 2].is_unseen
        if is_joined and number - 1 != session.loop_start:
            found[-1] = found[-1][0], number
        else:
            found.append((number, number))
    return found


def step_on(session: Session) -> None:
    """Stand behind the next step, or behind the line that it is part of."""
    session.go(next((last for _, last in lines_of(session) if last > session.position), 10**9))


def step_back(session: Session) -> None:
    """Stand before the last step, or before the line that it is part of."""
    before = [first - 1 for first, _ in lines_of(session) if first <= session.position]
    session.go(before[-1] if before else 0)


def told(session: Session, line: Line) -> dict[str, Any]:
    """A line as it is told."""
    first, last = line
    entry, system = session.at(last), session.bench.system
    move = system.move(entry.move)
    scan = move.kind is MoveKind.SCAN
    who, says = WHO[move.kind], "scans" if scan else (move.says or entry.move)
    if first < last or entry.move == TICK:
        who, says = WHO[MoveKind.TIME], _passing(session, line)
    return {
        "first": first,
        "number": last,
        "time": session.time_at(last),
        "who": who,
        "says": says,
        "changes": entry.changes,
        "decided": entry.scanned.decided if scan and first == last else (),
        "violated": sorted(entry.violated),
    }


def _passing(session: Session, line: Line) -> str:
    moves = list(_moves(session, line))
    n_units, time = moves.count(TICK), session.bench.time
    assert time is not None
    n_scans = len(moves) - n_units
    scans = f"{n_scans} scan{'' if n_scans == 1 else 's'} that change{'s' * (n_scans == 1)} nothing"
    if not n_units:
        return scans
    return f"{seconds(n_units * time.unit_ms)} pass" + (f", with {scans}" if n_scans else "")


def _moves(session: Session, line: Line) -> Iterator[str]:
    return (session.at(number).move for number in range(line[0], line[1] + 1))
