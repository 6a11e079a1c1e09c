"""How far a carriage runs on behind its limit switch, on both sides of what may be.

Reckoned by hand: 20 mm take 2 s at 10 mm a second; one scan of 0.1 s and the brake's time add up to
what the carriage runs on.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Duration, Model
from interlock.model.timing import Timing
from tests.support.models import MODELS

BRAKE = "the brake holds the carriage that ran forward"


def braking(model: Model, greatest: float) -> Model:
    takes = Duration(0.2, greatest, None, assumed=True)
    moves = [replace(m, takes=takes) if m.says == BRAKE else m for m in model.moves]
    assert moves != list(model.moves)
    return replace(model, moves=tuple(moves))


def outcome(model: Model, id_: str, engine: str = "enumerate") -> Outcome:
    findings = verify(model, catalogue()[engine](), only=[id_]).findings
    return next(f.outcome for f in findings if f.requirement.id == id_)


@pytest.mark.parametrize("engine", ["enumerate", "symbolic"])
@pytest.mark.parametrize(("brake", "expected"), [(1.8, Outcome.HOLDS), (1.9, Outcome.VIOLATED)])
def test_the_brake_may_take_no_longer_than_that(
    engine: str, brake: float, expected: Outcome
) -> None:
    assert outcome(braking(load(MODELS / "overtravel"), brake), "R1", engine) is expected


@pytest.mark.parametrize(("scan_ms", "expected"), [(1300, Outcome.HOLDS), (1400, Outcome.VIOLATED)])
def test_the_scan_may_take_no_longer_than_that(scan_ms: int, expected: Outcome) -> None:
    """With the brake's 0.6 s."""
    model = replace(load(MODELS / "overtravel"), timing=Timing(100, scan_ms, scan_ms))
    assert outcome(model, "R1") is expected


def test_the_time_that_it_takes_has_nothing_to_spare() -> None:
    findings = verify(load(MODELS / "overtravel"), catalogue()["enumerate"]()).findings
    assert {f.outcome for f in findings} == {Outcome.HOLDS}
    margin = next(f.margin for f in findings if f.requirement.id == "R2")
    assert margin is not None
    assert margin.taken_ms == 700
