"""Delays of signals and outputs in a model with time: what each of them must not hide.

Source of the crossing's rule: as in `tests.known.test_time`; what a signal and a drive take on
their way adds to the controller's delay. The other models are reckoned by hand.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel import expr as ex
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import AGE, LATE, Move, MoveKind
from interlock.model.build import RunClass
from interlock.model.load import load
from interlock.model.model import Delay, Model
from interlock.model.old_values import OldValues
from tests.known.test_time import HOLDS, VIOLATED, crossing, found
from tests.support.gate import written

ENGINES = ["reference", "enumerate", "symbolic"]


def delayed(model: Model, sensors: dict[str, float], outputs: dict[str, float]) -> Model:
    """The model with these delays, in milliseconds."""

    def delay(ms: float) -> Delay:
        return Delay(ms, None, assumed=True, in_time=ms > 0)

    late = {n: replace(model.sensors[n], delay=delay(ms)) for n, ms in sensors.items()}
    slow = {n: replace(model.outputs[n], delay=delay(ms)) for n, ms in outputs.items()}
    return replace(model, sensors={**model.sensors, **late}, outputs={**model.outputs, **slow})


@pytest.mark.parametrize(("signal", "drive"), [(1, 0), (0, 1), (1, 1), (2, 1), (1, 2)])
def test_all_delays_on_the_way_to_the_gate_count(signal: int, drive: int) -> None:
    for a, d, g in product((4, 5, 6), (1, 2), (1, 2)):
        given = {"train_there": 1000.0 * signal}, {"close": 1000.0 * drive}
        expected = HOLDS if signal + d + drive + g < a else VIOLATED
        model = delayed(crossing(a, 1000 * d, g), *given)
        assert found(model, "R1").outcome is expected, (a, d, g)


@pytest.mark.parametrize("engine", ENGINES)
def test_a_coarse_unit_rounds_a_delay_up(engine: str) -> None:
    # 1 + 1.2 + 0.3 + 2 s are less than 4.6 s; in units of 500 ms the delays are 1.5 s and 0.5 s.
    model = delayed(crossing(4.6, 1000, 2, unit_ms=100), {"train_there": 1200}, {"close": 300})
    assert found(model, "R1", engine).outcome is HOLDS
    assert model.timing is not None
    coarse = replace(model, timing=replace(model.timing, unit_ms=500))
    assert found(coarse, "R1", engine).outcome is VIOLATED


YAML = """\
title: A valve and a door
controller: controller.st
run: {scan_ms: 100, between_scans: any number, time: {unit: 100 ms}}
plant:
  door:
    states: [shut, open]
    moves:
      - {from: shut, to: open, by: driver, says: it opens}
controls:
  button: {says: the button, bounces: true}
sensors:
  pressed: {reads: button}
  is_open: {reads: door = open}
outputs:
  valve: {}
  other: {}
requirements:
  R1: {says: R1, never: NEVER}
"""
ST = """\
PROGRAM P
VAR_INPUT pressed, is_open : BOOL; END_VAR
VAR_OUTPUT valve, other : BOOL; END_VAR
VAR before, seen, again : BOOL; n : INT; END_VAR
BODY
END_PROGRAM
"""


def asked(
    folder: Path,
    never: str,
    body: str,
    *changes: tuple[str, str],
    engine: str = "reference",
    faults: RunClass | None = None,
) -> Outcome:
    yaml = YAML
    for old, new in changes:
        assert yaml.count(old) == 1, old
        yaml = yaml.replace(old, new)
    yaml = yaml.replace("NEVER", never)
    model = load(written(folder, yaml, ST.replace("BODY", body)))
    arguments = {} if faults is None else {"run_class": faults}
    return verify(model, catalogue()[engine](), **arguments).findings[0].outcome


def valve_takes(ms: int) -> tuple[str, str]:
    return "valve: {}", f"valve: {{delay_ms: {ms}, delay_assumed: true}}"


def other_takes(ms: int) -> tuple[str, str]:
    return "other: {}", f"other: {{delay_ms: {ms}, delay_assumed: true}}"


def button_takes(ms: int) -> tuple[str, str]:
    return "{reads: button}", f"{{reads: button, delay_ms: {ms}, delay_assumed: true}}"


# On for one scan when the button is pressed, and 'other' on once it has been off again for a scan.
PULSE = "other := before; valve := pressed AND NOT seen; before := seen; seen := seen OR pressed;"


@pytest.mark.parametrize("engine", ENGINES)
def test_a_pulse_shorter_than_a_delay_may_come_when_it_is_over(engine: str, tmp_path: Path) -> None:
    # Ordered for 100 ms and no longer, 200 ms before 'other'. What only passes on what stands still
    # would not begin behind that, as a pipe does: a delay that let it vanish would hide this.
    scope = ("never: NEVER", "never: valve, scope: {after: other AND NOT valve}")
    assert asked(tmp_path / "0", "valve", PULSE, scope, engine=engine) is HOLDS
    slow = [scope, valve_takes(200)]
    assert asked(tmp_path / "2", "valve", PULSE, *slow, engine=engine) is VIOLATED


@pytest.mark.parametrize("engine", ENGINES)
def test_a_pulse_shorter_than_a_delay_may_be_swallowed(engine: str, tmp_path: Path) -> None:
    # 'other' comes 200 ms after the order; without a delay the valve has been on by then.
    never = ("R1: {says: R1, never: NEVER}", "R1: {says: R1, event: other, only_after: valve}")
    yaml = (YAML.replace(*never).replace("NEVER", ""), PULSE)

    def outcome(name: str, *changes: tuple[str, str]) -> Outcome:
        text = yaml[0]
        for old, new in changes:
            text = text.replace(old, new)
        model = load(written(tmp_path / name, text, ST.replace("BODY", yaml[1])))
        return verify(model, catalogue()[engine]()).findings[0].outcome

    assert outcome("0") is HOLDS
    assert outcome("2", valve_takes(200)) is VIOLATED


@pytest.mark.parametrize("engine", ENGINES)
def test_a_single_order_takes_effect_once_and_for_good(engine: str, tmp_path: Path) -> None:
    # The valve is switched on and never off again: its effect does not flicker.
    body = "valve := valve OR pressed;"
    text = YAML.replace("never: NEVER", "once: valve, at_least: 1 s")
    for change in (valve_takes(250), button_takes(150)):
        text = text.replace(*change)
    model = load(written(tmp_path, text, ST.replace("BODY", body)))
    assert verify(model, catalogue()[engine]()).findings[0].outcome is HOLDS


@pytest.mark.parametrize("engine", ENGINES)
def test_two_outputs_of_one_scan_take_effect_each_on_its_own(engine: str, tmp_path: Path) -> None:
    # One scan switches one off and the other on; were their delays one, they were never on both.
    body = "valve := pressed; other := NOT pressed AND seen; seen := seen OR pressed;"
    assert asked(tmp_path / "0", "valve AND other", body, engine=engine) is HOLDS
    slow = [valve_takes(50), other_takes(50)]
    assert asked(tmp_path / "1", "valve AND other", body, *slow, engine=engine) is VIOLATED


# The door opens once and stays open: 'again' would take a value that was overtaken.
OVERTAKEN = (
    "valve := valve OR (again AND is_open); again := again OR (seen AND NOT is_open); "
    "seen := seen OR is_open;"
)


def opening_takes(ms: int) -> tuple[str, str]:
    given = f"{{reads: door = open, delay_ms: {ms}, delay_assumed: true}}"
    return "{reads: door = open}", given


@pytest.mark.parametrize("engine", ENGINES)
def test_an_older_value_may_be_read_behind_a_younger_one(engine: str, tmp_path: Path) -> None:
    assert asked(tmp_path / "0", "valve", OVERTAKEN, engine=engine) is HOLDS
    # Three scans in a row lie within 200 ms, and no sooner: the first sees it, the second does not.
    for ms in (100, 200):
        late = opening_takes(ms)
        assert asked(tmp_path / str(ms), "valve", OVERTAKEN, late, engine=engine) is VIOLATED


def test_a_product_in_which_nothing_is_overtaken_is_noticed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = OldValues.noting

    def noting(self: OldValues, move: Move) -> Move:
        """As it is, but of a signal that a scan has read as it is nothing older can come."""
        move = made(self, move)
        for name, most in self.most.items():
            if move.kind is MoveKind.SCAN and AGE + name in move.updates:
                too_old = ex.ite(ex.var(LATE + name), move.updates[AGE + name], ex.const(most))
                move = replace(move, updates={**move.updates, AGE + name: too_old})
            elif move.kind is MoveKind.SCAN:
                too_old = ex.ite(ex.var(LATE + name), ex.var(AGE + name), ex.const(most))
                move = replace(move, updates={**move.updates, AGE + name: too_old})
        return move

    monkeypatch.setattr(OldValues, "noting", noting)
    late = opening_takes(200)
    assert asked(tmp_path, "valve", OVERTAKEN, late, engine="enumerate") is HOLDS


@pytest.mark.parametrize("engine", ENGINES)
def test_what_freezes_an_output_holds_what_it_gave_and_that_takes_effect_in_its_time(
    engine: str, tmp_path: Path
) -> None:
    # It freezes before the order has taken effect, which it does nevertheless and for good, though
    # the program switches off; all that could come late is over when 'other' is on.
    struck = (
        "requirements:",
        "terms: {stuck: F1}\nfaults:\n"
        "  F1: {says: it sticks, output: valve, stuck: frozen}\nrequirements:",
    )
    body = (
        "IF seen AND n < 6 THEN n := n + 1; END_IF; other := n >= 6; "
        "valve := pressed AND NOT seen; seen := seen OR pressed;"
    )
    one = RunClass(("F1",), 1)
    scope = ("never: NEVER", "never: valve AND other, scope: {after: stuck AND NOT valve}")
    changes = [struck, scope, valve_takes(200)]
    assert asked(tmp_path, "", body, *changes, engine=engine, faults=one) is VIOLATED
    # Without the delay there is no such moment.
    at_once = asked(tmp_path / "0", "", body, struck, scope, engine=engine, faults=one)
    assert at_once is not VIOLATED


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (("{reads: button}", "{reads: button, delay_ms: 20}"), "a delay needs its 'delay_source'"),
        (
            ("{reads: button}", "{reads: button, delay_ms: 20, delay_assumed: true, age: 2 scans}"),
            "'pressed' is late by its age, and its delay would come on top of that",
        ),
        (
            ("{reads: button}", "{delay_ms: 20, delay_assumed: true}"),
            "'pressed' reads nothing, so it has any value anyway",
        ),
        (
            ("{reads: button}", "{reads: button, delay_ms: 3000000, delay_assumed: true}"),
            "3000 s are 30,000 units of 100 ms, and less than 20,000 are counted",
        ),
        (
            ("  valve: {}", "  level: {delay_ms: 20, delay_assumed: true}\n  valve: {}"),
            "'level' is of type INT; with 'run: time' only a BOOL can have a delay",
        ),
    ],
)
def test_what_cannot_be_delayed_in_time_is_one_clear_mistake(
    change: tuple[str, str], said: str, tmp_path: Path
) -> None:
    st = ST.replace("BODY", "valve := pressed;").replace(
        "other : BOOL;", "other : BOOL; level : INT;"
    )
    yaml = YAML.replace("NEVER", "valve").replace(*change)
    with pytest.raises(InputError) as refused:
        load(written(tmp_path, yaml, st))
    (mistake,) = refused.value.mistakes
    assert said in str(mistake)
