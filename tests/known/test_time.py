"""Published systems in real time, judged on both sides of their edges.

Sources. The crossing: an example of textbooks; the gate is closed whenever the train is in exactly
if D + G < A. Gas burner: A. P. Ravn, H. Rischel and K. M. Hansen, IEEE TSE 19(1), 1993. Fischer's
protocol: L. Lamport, ACM TOCS 5(1), 1987 (from memory); exclusion holds exactly if the waiting
delay is longer than the greatest write delay.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from itertools import product

import pytest

from interlock.engines import catalogue
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Duration, Model
from interlock.model.timing import Timing
from tests.support.models import MODELS

HOLDS, VIOLATED = Outcome.HOLDS, Outcome.VIOLATED


def lasting(model: Model, seconds: Mapping[str, tuple[float, float]]) -> Model:
    """The model with other durations, by what the moves say."""
    said = {move.says for move in model.moves}
    assert seconds.keys() <= said, seconds.keys() - said

    def takes(least: float, greatest: float) -> Duration:
        return Duration(least, greatest, None, assumed=True)

    moves = [
        replace(m, takes=takes(*seconds[m.says])) if m.says in seconds else m for m in model.moves
    ]
    return replace(model, moves=tuple(moves))


def found(model: Model, id_: str, engine: str = "reference") -> Finding:
    findings = verify(model, catalogue()[engine](), only=[id_]).findings
    return next(finding for finding in findings if finding.requirement.id == id_)


def crossing(a: float, d_ms: int, g: float, unit_ms: int = 1000) -> Model:
    """The crossing with these times; the controller's delay is the time from scan to scan."""
    gate, train = (0.0, float(g)), (float(a), float(a + 1))
    seconds = {
        "the gate is down": gate,
        "the gate is up": gate,
        "the train gets to the road": train,
    }
    model = lasting(load(MODELS / "level-crossing"), seconds)
    return replace(model, timing=Timing(unit_ms, min(1000, d_ms), d_ms))


@pytest.mark.parametrize("a", range(1, 7))
def test_the_gate_is_down_exactly_if_delay_and_gate_together_are_faster(a: int) -> None:
    for d, g in product(range(1, 7), repeat=2):
        expected = HOLDS if d + g < a else VIOLATED
        assert found(crossing(a, 1000 * d, g), "R1").outcome is expected, (a, d, g)


def test_the_edge_of_the_crossing_is_as_sharp_as_the_unit() -> None:
    # 1.5 s and 2 s are less than 4 s. In whole seconds, rounded outwards, they are not.
    assert found(crossing(4, 1500, 2, unit_ms=500), "R1").outcome is HOLDS
    assert found(crossing(3.5, 1500, 2, unit_ms=500), "R1").outcome is VIOLATED
    assert found(crossing(4, 1500, 2, unit_ms=1000), "R1").outcome is VIOLATED


@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
def test_the_crossing_as_it_stands_keeps_all_of_it(engine: str) -> None:
    model = load(MODELS / "level-crossing")
    findings = verify(model, catalogue()[engine]()).findings
    assert {finding.requirement.id: finding.outcome for finding in findings} == dict.fromkeys(
        ("R1", "R2", "R3"), HOLDS
    )
    # 5 s until a scan and 20 s for the gate; with less allowed it is missed.
    margins = [finding.margin for finding in findings if finding.margin is not None]
    assert [margin.taken_ms for margin in margins] == [25_000, 25_000]


@pytest.mark.parametrize("write", [1, 2, 3])
@pytest.mark.parametrize("wait", [1, 2, 3, 4])
def test_fischer_excludes_exactly_if_the_wait_is_longer_than_a_write(write: int, wait: int) -> None:
    seconds: dict[str, tuple[float, float]] = {}
    for who in ("first", "second"):
        seconds[f"the {who} writes his name"] = (0, write)
        seconds[f"the {who} drives in"] = (wait, wait)
    model = lasting(load(MODELS / "fischer"), seconds)
    assert found(model, "R1").outcome is (HOLDS if wait > write else VIOLATED)


# Four leaks touch 60 s if as little as 20 s lie between two.
@pytest.mark.parametrize(("between", "expected"), [(30, HOLDS), (21, HOLDS), (20, VIOLATED)])
def test_the_gas_burner_leaks_at_most_three_seconds_in_a_minute(
    between: int, expected: Outcome
) -> None:
    model = lasting(load(MODELS / "gas-burner"), {"gas leaks": (between, 100)})
    assert found(model, "R2", "enumerate").outcome is expected


def test_a_leak_of_the_gas_burner_that_may_last_longer_is_told() -> None:
    burner = load(MODELS / "gas-burner")
    assert found(burner, "R1", "enumerate").outcome is HOLDS
    longer = lasting(burner, {"the leak is stopped": (0, 2)})
    assert found(longer, "R1", "enumerate").outcome is VIOLATED
