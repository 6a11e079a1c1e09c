"""Clocks: what may happen when, what must, and that time goes on."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError, InternalError
from interlock.engines import catalogue
from interlock.judgement.finding import Verification
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import MoveKind
from interlock.model.build import TIME, build
from interlock.model.clocks import periods_of
from interlock.model.model import Model
from interlock.model.timing import Timing, Units, in_units
from tests.support.timed_gate import timed_gate

HOLDS, VIOLATED = Outcome.HOLDS, Outcome.VIOLATED
UNIT = "unit: 100 ms"


def verified(model: Model) -> Verification:
    return verify(model, catalogue()["reference"]())


def outcomes(model: Model) -> dict[str, Outcome]:
    return {f.requirement.id: f.outcome for f in verified(model).findings}


def preset(ms: int) -> tuple[str, str]:
    return "T#900ms", f"T#{ms}ms"


@pytest.mark.parametrize(
    ("least", "greatest", "units"),
    [
        (0, 0, Units(0, 0)),
        (100, 100, Units(1, 1)),
        (99, 101, Units(0, 2)),
        (199, 200, Units(1, 2)),
        (1, None, Units(0, None)),
        (250, None, Units(2, None)),
    ],
)
def test_spans_are_rounded_outwards(least: int, greatest: int | None, units: Units) -> None:
    assert in_units(least, greatest, 100) == units


def test_a_unit_that_divides_all_durations_rounds_none_and_says_so_where_it_must() -> None:
    exact = Timing(10, 10, 10, is_exact=True)
    assert exact.units(20, 30) == Units(2, 3)
    assert exact.units(20, None) == Units(2, None)
    for span in ((25, None), (20, 25)):
        with pytest.raises(InternalError, match="25 ms are no whole number of units of 10 ms"):
            exact.units(*span)


# The gate needs 0.8 s at most, and so does what the watchdog must outlast. At 0.8 s both may come
# in either order; a scan 0.8 s after the start may see the time up and the gate not yet shut.
@pytest.mark.parametrize(
    ("preset_ms", "expected"), [(700, VIOLATED), (800, VIOLATED), (900, HOLDS)]
)
def test_a_watchdog_that_outlasts_the_gate_gives_no_alarm(
    preset_ms: int, expected: Outcome, tmp_path: Path
) -> None:
    found = outcomes(timed_gate(tmp_path, preset(preset_ms)))
    assert found["R1"] is expected
    assert found["R2"] is HOLDS


# Each preset time is rounded down: of 900 ms 4 units of 200 ms may do, which are no more than
# the gate's 0.1 and 0.7 s, each rounded up, may take.
@pytest.mark.parametrize(
    ("unit_ms", "preset_ms", "expected"),
    [
        (50, 850, HOLDS),
        (200, 900, VIOLATED),
        (200, 1200, HOLDS),
        (300, 1500, HOLDS),
        (700, 1400, VIOLATED),
    ],
)
def test_a_coarse_unit_lets_more_happen(
    unit_ms: int, preset_ms: int, expected: Outcome, tmp_path: Path
) -> None:
    model = timed_gate(tmp_path, preset(preset_ms), (UNIT, f"unit: {unit_ms} ms"))
    assert outcomes(model)["R1"] is expected


def test_a_scan_may_come_earlier_or_later_within_its_jitter(tmp_path: Path) -> None:
    # The gate stays open for one scan, which it is driven in, and no two.
    held = (
        ("drive := pressed OR drive", "drive := pressed AND NOT drive"),
        ("seconds: [0, 0.1]", "seconds: [0.3, 0.3]"),
        ("never: alarm", "never: gate = moving"),
    )

    def found(scan: str) -> Outcome:
        timed = (UNIT, f"{UNIT}, scan: {scan}")
        return outcomes(timed_gate(tmp_path / scan, timed, *held))["R1"]

    assert found("[100 ms, 200 ms]") is HOLDS
    assert found("[100 ms, 300 ms]") is VIOLATED
    assert found("[100 ms, 210 ms]") is VIOLATED  # rounded up to 300 ms


def test_what_is_interrupted_starts_again(tmp_path: Path) -> None:
    # Whoever lets go stops the drive; no stretch of driving shorter than 0.5 s shuts the gate.
    hold_to_run = ("drive := pressed OR drive", "drive := pressed")
    model = timed_gate(tmp_path, hold_to_run, preset(1500))
    system = build(model).system
    clock = system.variable("clock.gate: moving to shut")
    (release,) = (move for move in system.moves if move.kind is MoveKind.SCAN)
    assert clock.domain.hi == 7
    assert clock.name in release.updates
    assert outcomes(model)["R2"] is VIOLATED


def test_a_move_with_a_duration_takes_no_turn(tmp_path: Path) -> None:
    # Within one scan of 1 s the gate starts to move and is shut: two moves, one in all or not.
    slow = (
        ("scan_ms: 100", "scan_ms: 1000"),
        ("never: alarm", "never: gate = moving, judged: after scan"),
    )
    assert outcomes(timed_gate(tmp_path / "timed", *slow))["R1"] is HOLDS
    untimed = (", time: {unit: 100 ms}", "")
    assert outcomes(timed_gate(tmp_path / "untimed", *slow, untimed))["R1"] is VIOLATED


def test_time_that_can_stand_still_is_told(tmp_path: Path) -> None:
    # Two moves in no time follow each other for ever: nothing else comes, and nothing may hold.
    back_and_forth = (
        "      - {from: moving, to: shut, when: drive, seconds: [0.5, 0.7], assumed: true}",
        "      - {from: moving, to: open, when: drive, seconds: [0, 0], assumed: true}",
    )
    at_once = ("seconds: [0, 0.1]", "seconds: [0, 0]")
    model = timed_gate(tmp_path, back_and_forth, at_once)
    found = outcomes(model)
    assert found[TIME] is VIOLATED
    assert found["R2"] is VIOLATED
    assert verified(model).outcome is VIOLATED


def test_time_is_no_question_where_every_move_takes_some(tmp_path: Path) -> None:
    assert TIME not in build(timed_gate(tmp_path)).requirements
    # Of no time at all in one move alone it is one, and time goes on.
    model = timed_gate(tmp_path / "at once", ("seconds: [0, 0.1]", "seconds: [0, 0]"))
    assert outcomes(model)[TIME] is HOLDS


def test_an_endless_run_within_an_instant_counts_for_nothing(tmp_path: Path) -> None:
    # Scans may follow each other at once in a coarse unit; the gate shuts all the same.
    model = timed_gate(tmp_path, (UNIT, "unit: 1000 ms"), preset(5000))
    assert periods_of(model)["scan"] == Units(0, 1)
    assert outcomes(model)["R2"] is HOLDS


def test_a_timer_that_may_start_anew_within_a_scan_is_not_sure_to_be_up(tmp_path: Path) -> None:
    call = "watchdog(IN := drive AND NOT is_shut, PT := T#900ms);"
    twice = (call, f"watchdog(IN := is_shut, PT := T#900ms);\n{call}")
    assert periods_of(timed_gate(tmp_path))["watchdog elapses"] == Units(9, 9)
    model = timed_gate(tmp_path / "twice", twice)
    assert periods_of(model)["watchdog elapses"] == Units(9, None)


def test_without_time_durations_decide_nothing(tmp_path: Path) -> None:
    untimed = timed_gate(tmp_path, (", time: {unit: 100 ms}", ""))
    assert outcomes(untimed) == {"R1": VIOLATED, "R2": HOLDS}
    system = build(untimed).system
    assert not [v.name for v in system.variables if v.name.startswith("clock.")]


# Driven, the gate starts within 0.1 s and is shut at most 0.7 s later.
@pytest.mark.parametrize(
    ("within", "expected"),
    [("0.8 s", HOLDS), ("849 ms", HOLDS), ("799 ms", VIOLATED), ("7 scans", VIOLATED)],
)
@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
def test_a_bound_in_time_is_kept_up_to_its_last_instant(
    within: str, expected: Outcome, engine: str, tmp_path: Path
) -> None:
    asked = ("leads_to: gate = shut", f"leads_to: gate = shut, within: {within}")
    found = verify(timed_gate(tmp_path, asked), catalogue()[engine]()).findings[1]
    assert found.outcome is expected
    assert (found.margin is None) is (expected is VIOLATED)
    if found.margin is not None:
        assert found.margin.taken_ms == 800
        assert found.margin.says.startswith("at most 0.8 s of the allowed 0.8")


@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
def test_an_answer_that_never_comes_is_too_late(engine: str, tmp_path: Path) -> None:
    asked = ("leads_to: gate = shut", "leads_to: alarm, within: 1 s")
    assert (
        verify(timed_gate(tmp_path, asked), catalogue()[engine]()).findings[1].outcome is VIOLATED
    )


def test_an_answer_may_come_in_the_instant_in_which_it_is_asked_for(tmp_path: Path) -> None:
    asked = ("whenever: drive, leads_to: gate = shut", "whenever: button, leads_to: gate = moving")
    at_once = ("seconds: [0, 0.1]", "seconds: [0, 0]")
    free = ("when: drive, seconds: [0, 0]", "when: button, seconds: [0, 0]")
    bound = ("leads_to: gate = moving", "leads_to: gate <> open OR NOT button, within: 0 s")
    assert outcomes(timed_gate(tmp_path, asked, at_once, free, bound))["R2"] is HOLDS


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ((UNIT, "unit: soon"), "3:34: 'soon' is no whole number of milliseconds"),
        ((UNIT, "unit: 0.5 ms"), "'0.5 ms' is no whole number of milliseconds"),
        (("scan_ms: 100, ", ""), "time needs the period of the scan"),
        ((UNIT, "unit: 100 ms, scan: [2 s, 1 s]"), "longer than the greatest"),
        ((UNIT, "unit: 100 ms, scan: [150 ms, 1 s]"), "'scan_ms: 100' lies outside it"),
        (("{unit: 100 ms}", "{unit: 100 ms}, timers: counted"), "leave 'timers: counted' out"),
        (
            ("leads_to: gate = shut}", "leads_to: gate = shut, within: 1 s, judged: after scan}"),
            "in every state",
        ),
        (("never: alarm", "once: alarm, at_least: 0 s"), "'0 s' demands nothing"),
        (
            ("never: alarm", "once: alarm, at_least: 1 s, scope: {before: drive}"),
            "'once' takes a scope with 'after' or 'from' only",
        ),
        (("never: alarm", "lasts: alarm, at_most: 1 s, judged: after scan"), "in every state"),
        ((UNIT, "unit: 1 ms"), "25 s are 25,000 units of 1 ms"),
        ((UNIT, "unit: 10 ms, scan: [100 ms, 250 s]"), "250 s are 25,000 units of 10 ms"),
        (
            ("{from: open, to", "{name: tick, from: open, to"),
            "reads like a move of interlock's own",
        ),
        (("  R1: {", "  TIME: {"), "'TIME' is a requirement that interlock adds itself"),
    ],
)
def test_what_time_cannot_take_is_one_clear_mistake(
    change: tuple[str, str], said: str, tmp_path: Path
) -> None:
    with pytest.raises(InputError) as refused:
        timed_gate(tmp_path, ("T#900ms", "T#25s"), change)
    (mistake,) = refused.value.mistakes
    assert said in str(mistake)


def test_a_unit_of_nothing_is_one_mistake_also_where_bounds_are_counted_in_it(
    tmp_path: Path,
) -> None:
    bound = ("leads_to: gate = shut}", "leads_to: gate = shut, within: 1 s}")
    with pytest.raises(InputError) as refused:
        timed_gate(tmp_path, bound, (UNIT, "unit: 0 ms"))
    (mistake,) = refused.value.mistakes
    assert "'0 ms' is no whole number of milliseconds" in str(mistake)


def test_a_trigger_is_no_timer_that_is_up_at_once(tmp_path: Path) -> None:
    """Its preset time is none, and time would have to be asked whether it can go on."""
    trigger = "VAR watchdog : TON; rising : R_TRIG; END_VAR\nrising(CLK := pressed);"
    model = timed_gate(tmp_path, ("VAR watchdog : TON; END_VAR", trigger))
    assert not any("rising" in name for name in periods_of(model))
    assert TIME not in build(model).requirements
