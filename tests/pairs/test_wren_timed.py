"""Whole Wren in time: too many states with all its clocks, and judged with few of them.

Invented, like Wren. What stands against its figures is arithmetic on the durations of the model.
"""

from __future__ import annotations

from interlock.judgement.engines import AutomaticEngine
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.freed import slow_moves
from tests.support.models import shipped

FOLDER = "wren-timed"


def judged(ids: list[str]) -> dict[str, Finding]:
    found = verify(shipped(FOLDER), AutomaticEngine(), only=ids, is_large=True).findings
    return {f.requirement.id: f for f in found if f.requirement.id in ids}


def test_what_wren_claims_of_every_run_holds_in_time() -> None:
    """R10b and R17 lean on what takes longer than a scan: the station, and the brake chambers."""
    found = judged(["R10b", "R17", "R19b"])
    assert {f.outcome for f in found.values()} == {Outcome.HOLDS}
    assert {f.requirement.id: f.counted for f in found.values()} == {
        "R10b": (),
        "R17": (),
        "R19b": ("disagreeing elapses", "scan"),
    }
    # A unit in which the next scan comes, and the delays of the pendant's message and of a valve.
    reaction = found["R19b"].reaction
    assert reaction is not None
    assert reaction.total_ms == 500 + 100 + 150


def test_all_that_takes_time_takes_longer_than_scans_are_apart() -> None:
    model = shipped(FOLDER)
    timed = {move.name for move in model.moves if move.takes is not None}
    assert timed == set(slow_moves(model))
    assert len(timed) == 27
