"""Quantities at a constant drive: the first and the last instant are quotients of way and rate.

Reckoned by hand: a way w at a rate of r to R takes w / R to w / r, no sooner and no later. Units
divide these, so a bound is missed by one unit.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.judgement.finding import Finding
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from tests.support.vessel import vessel

HOLDS, VIOLATED, UNDECIDED = Outcome.HOLDS, Outcome.VIOLATED, Outcome.UNDECIDED
WAYS = [
    ("reference", ""),
    ("enumerate", "1, 3, 4.5, 8, 12, "),
    ("symbolic", "5, "),
]
# It rises from the beginning on, whatever anybody does.
RISES = ("when: pump, per_s: [1, 2]", "per_s: [1, 2]")
NO_DRAIN = ("      - {when: drain, per_s: [-4, -2], assumed: true}\n", "")
FALLS = ("when: pump, per_s: [1, 2]", "per_s: [-2, -0.5]")


def asked(text: str) -> tuple[str, str]:
    return (
        "  R1: {says: it may be anything, always: lamp OR NOT lamp}",
        f"  R1: {{says: it, {text}}}",
    )


def found(folder: Path, text: str, *changes: tuple[str, str], engine: str = "enumerate") -> Finding:
    model = vessel(folder, asked(text), *changes)
    findings = verify(model, catalogue()[engine]()).findings
    return next(f for f in findings if f.requirement.id == "R1")


@pytest.mark.parametrize(("engine", "steps"), WAYS)
@pytest.mark.parametrize(("bound", "outcome"), [("14 s", HOLDS), ("13.5 s", VIOLATED)])
def test_it_comes_to_14_bar_within_14_s_at_the_latest(
    tmp_path: Path, engine: str, steps: str, bound: str, outcome: Outcome
) -> None:
    unit = ("unit: 100 ms", "unit: 500 ms"), ("scan_ms: 100", "scan_ms: 500")
    steps_ = ("    to: 20\n", f"    to: 20\n    steps: [{steps}14]\n")
    text = f"whenever: pressure < 14, leads_to: pressure >= 14, within: {bound}"
    told = found(tmp_path, text, RISES, NO_DRAIN, steps_, *unit, engine=engine)
    assert told.outcome is outcome
    if outcome is HOLDS:
        assert told.margin is not None
        assert told.margin.taken_ms == 14_000


@pytest.mark.parametrize(("engine", "steps"), WAYS)
@pytest.mark.parametrize(("bound", "outcome"), [("7 s", HOLDS), ("7.5 s", VIOLATED)])
def test_it_comes_to_14_bar_in_7_s_at_the_earliest(
    tmp_path: Path, engine: str, steps: str, bound: str, outcome: Outcome
) -> None:
    # 3.5 bar in 1.75 s and so on: the steps are multiples of 0.5 s at 2 bar a second, or 0.25 s.
    unit = ("unit: 100 ms", "unit: 250 ms"), ("scan_ms: 100", "scan_ms: 250")
    steps_ = ("    to: 20\n", f"    to: 20\n    steps: [{steps}14]\n")
    text = f"begins: pressure >= 0, not_yet: pressure >= 14, for: {bound}"
    told = found(tmp_path, text, RISES, NO_DRAIN, steps_, *unit, engine=engine)
    assert told.outcome is outcome
    if outcome is HOLDS:
        assert told.margin is not None
        assert told.margin.taken_ms == 7000


@pytest.mark.parametrize(("bound", "outcome"), [("28 s", HOLDS), ("27 s", VIOLATED)])
def test_it_falls_from_20_to_6_bar_as_it_rises(
    tmp_path: Path, bound: str, outcome: Outcome
) -> None:
    unit = ("unit: 100 ms", "unit: 1 s"), ("scan_ms: 100", "scan_ms: 1000")
    full = ("    to: 20\n", "    to: 20\n    initial: 20\n")
    text = f"whenever: pressure > 6, leads_to: pressure <= 6, within: {bound}"
    assert found(tmp_path, text, FALLS, NO_DRAIN, full, *unit).outcome is outcome


@pytest.mark.parametrize(("bound", "outcome"), [("7 s", HOLDS), ("8 s", VIOLATED)])
def test_it_falls_from_20_to_6_bar_no_sooner(tmp_path: Path, bound: str, outcome: Outcome) -> None:
    unit = ("unit: 100 ms", "unit: 1 s"), ("scan_ms: 100", "scan_ms: 1000")
    full = ("    to: 20\n", "    to: 20\n    initial: 20\n")
    text = f"begins: pressure >= 0, not_yet: pressure <= 6, for: {bound}"
    assert found(tmp_path, text, FALLS, NO_DRAIN, full, *unit).outcome is outcome


def test_from_a_first_value_between_the_ends_it_sets_out_like_from_an_end(tmp_path: Path) -> None:
    unit = ("unit: 100 ms", "unit: 1 s"), ("scan_ms: 100", "scan_ms: 1000")
    half = ("    to: 20\n", "    to: 20\n    initial: 10\n")
    latched = ("when: pump", "when: lamp"), ("lamp := pumps;", "lamp := lamp OR pumps;")
    for bound, outcome in (("5 s", HOLDS), ("6 s", VIOLATED)):
        # It stands at 10 bar for as long as nobody starts the pump.
        text = f"begins: lamp, not_yet: pressure >= 20, for: {bound}"
        assert found(tmp_path, text, NO_DRAIN, half, *unit, *latched).outcome is outcome, bound


def test_a_coarse_unit_lets_more_happen_and_never_less(tmp_path: Path) -> None:
    """3 s are no whole units of 2 s: it may be there after 2 s, and need not before 8 s."""
    unit = ("unit: 100 ms", "unit: 2 s"), ("scan_ms: 100", "scan_ms: 2000")
    for text, outcome in (
        ("begins: pressure >= 0, not_yet: pressure >= 6, for: 2 s", HOLDS),
        ("begins: pressure >= 0, not_yet: pressure >= 6, for: 3 s", VIOLATED),
        ("whenever: pressure < 7, leads_to: pressure >= 7, within: 8 s", HOLDS),
        ("whenever: pressure < 7, leads_to: pressure >= 7, within: 7 s", VIOLATED),
    ):
        assert found(tmp_path, text, RISES, NO_DRAIN, *unit).outcome is outcome, text


def test_who_turns_round_may_be_anywhere_in_between_so_nothing_is_said_to_be_reachable(
    tmp_path: Path,
) -> None:
    """Filled for 2 s and drained for 2 s in turns it never comes to 14 bar.

    In bands it may. To say that it can would be wrong, and to say that it never does would be
    right, and is not found.
    """
    turns = (
        ("when: pump, per_s: [1, 2]", "when: lamp, per_s: [0.25, 0.5]"),
        ("when: drain, per_s: [-4, -2]", "per_s: [-4, -4]"),
        ("lamp := pumps;", "lamp := NOT lamp;"),
        ("unit: 100 ms", "unit: 1 s"),
        ("scan_ms: 100", "scan_ms: 2000"),
    )
    can = found(tmp_path, "can_still: pressure >= 14", *turns)
    assert can.outcome is UNDECIDED
    assert can.verdict.doubt.startswith("of 'pressure' no more is known than the band")
    # One more step is sharp enough: risen by 1 bar at most, it is down again within half a second.
    steps = ("    to: 20\n", "    to: 20\n    steps: [1.5]\n")
    assert found(tmp_path, "never: pressure >= 14", *turns).outcome is VIOLATED
    assert found(tmp_path, "never: pressure >= 14", *turns, steps).outcome is HOLDS


def test_a_rate_that_may_be_nothing_is_never_owed(tmp_path: Path) -> None:
    rises = ("when: pump, per_s: [1, 2]", "per_s: [0, 2]")
    unit = ("unit: 100 ms", "unit: 1 s"), ("scan_ms: 100", "scan_ms: 1000")
    text = "whenever: pressure < 14, leads_to: pressure >= 14"
    assert found(tmp_path, text, rises, NO_DRAIN, *unit).outcome is VIOLATED
    assert found(tmp_path, text, RISES, NO_DRAIN, *unit).outcome is HOLDS


def test_without_time_rates_decide_nothing(tmp_path: Path) -> None:
    no_time = (", time: {unit: 100 ms}", "")
    always = "whenever: pressure < 14, leads_to: pressure >= 14"
    assert found(tmp_path, always, RISES, NO_DRAIN, no_time).outcome is HOLDS
    assert found(tmp_path, "never: pressure >= 14", NO_DRAIN, no_time).outcome is VIOLATED
    assert found(tmp_path, "can_still: pressure >= 14", NO_DRAIN, no_time).outcome is HOLDS
