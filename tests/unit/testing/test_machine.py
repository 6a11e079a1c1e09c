"""Controllers of one's own under Hypothesis: kept ones pass, broken ones are found and shrunk."""

from __future__ import annotations

import unittest
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from interlock.engines import catalogue
from interlock.independent_judge.run_file import read_run, replay_file
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.testing.controllers import ControllerError, ProgramController, Value
from interlock.testing.deep_runs import find_seeds
from interlock.testing.driven_plant import Differs, DrivenPlant, Faulty, Unanswered, Violated
from interlock.testing.machine import ControllerMachine, machine_for
from tests.support.models import MODELS, shipped

# A lamp that needs its time: the timer is free in the model, and the bench lets time pass.
TIMED = """
title: A lamp with a delay
controller: controller.st
plant: {door: {states: [shut, open], by: operator,
  moves: [{from: shut, to: open}, {from: open, to: shut}]}}
sensors: {door_open: {reads: door = open}}
outputs: {lamp: {lamp: red}}
requirements: {T1: {says: An open door is announced, whenever: door = open,
  leads_to: lamp OR door = shut}}
"""
TIMED_PROGRAM = """PROGRAM Timed
VAR_INPUT door_open : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR delay : TON; END_VAR
delay(IN := door_open, PT := T#2s);
lamp := delay.Q;
END_PROGRAM
"""


@pytest.fixture
def timed(tmp_path: Path) -> Model:
    (tmp_path / "model.yaml").write_text(TIMED, encoding="utf-8")
    (tmp_path / "controller.st").write_text(TIMED_PROGRAM, encoding="utf-8")
    return load(tmp_path)


class RampInPython:
    """The ramp's interlock, written by hand."""

    def reset(self) -> None:
        self.pump = False

    def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
        i = inputs
        self.pump = bool((i["start"] or self.pump) and i["stop_free"] and i["parked"])
        pull = self.pump and bool(i["raise"] or i["lower"])
        secured = bool(i["ramp_home"] and i["pin_in"] and not pull)
        lower = self.pump and bool(i["lower"]) and not (i["pin_in"] and i["ramp_home"])
        return {
            "pump": self.pump,
            "raise_valve": self.pump and bool(i["raise"]) and not i["ramp_home"],
            "lower_valve": lower,
            "pin_pull": pull,
            "drive_enable": secured,
            "green": secured,
            "red": not secured,
        }


def run(machine: type[ControllerMachine], n_runs: int, n_steps: int = 12) -> None:
    chosen = settings(
        machine.TestCase.settings,
        max_examples=n_runs,
        stateful_step_count=n_steps,
        # Which values might have been others is not asked: it takes longer than all the rest.
        phases=[Phase.generate, Phase.shrink],
        derandomize=True,
        database=None,
    )
    run_state_machine_as_test(machine, settings=chosen)


def test_a_controller_that_does_as_the_program_does_is_not_found_at_fault() -> None:
    machine = machine_for(shipped("ramp"), RampInPython())
    run(machine, 30)
    assert machine.tally.n_runs >= 30
    assert not machine.tally.failures
    said = machine.report()
    assert "no violation and no difference found in" in said
    assert "that is no proof" in said
    assert "verified" not in said
    assert "no run can judge: R8, R9" in said
    assert "panel to START" in said


def test_a_broken_controller_is_found_and_its_run_shrunk_and_saved(tmp_path: Path) -> None:
    broken = ProgramController(shipped("ramp-broken/pin-alone"))
    machine = machine_for(shipped("ramp"), broken, like_program=False, save_to=tmp_path)
    with pytest.raises(Violated) as caught:
        run(machine, 200, n_steps=6)
    assert caught.value.says.startswith("R2 violated")
    assert "the spring pushes the pin in" in str(caught.value)
    saved = read_run(tmp_path / "violates-R2.json")
    # The shortest run there is has 13 steps, 6 of them moves; shrinking need not find it.
    assert len(saved.moves) <= 26
    # The plant and the people did what the model allows, as its own program does up to the lamp.
    assert not replay_file(shipped("ramp"), saved).violates
    # With the mistake in its program the model violates it, too.
    assert "R2" in replay_file(shipped("ramp-broken/pin-alone"), saved).violates


class RedLampForgotten(RampInPython):
    def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
        return {**super().scan(inputs), "red": False}


def test_an_output_that_differs_is_told_where_it_first_does(tmp_path: Path) -> None:
    machine = machine_for(shipped("ramp"), RedLampForgotten(), seeds=(), save_to=tmp_path)
    with pytest.raises(Differs) as caught:
        run(machine, 100)
    assert caught.value.says == "red is False, the model's program gives True"
    assert replay_file(shipped("ramp"), read_run(tmp_path / "differs.json")).happenings


def test_seeds_reach_what_is_deep_and_are_runs_of_the_model() -> None:
    built = build(shipped("ramp"))
    seeds = find_seeds(built, catalogue()["reference"]())
    taken = {move for seed in seeds for move in seed}
    assert "ramp: between to lowered" in taken
    assert "vehicle: parked to driving" in taken
    machine = machine_for(shipped("ramp"), RampInPython(), seeds=seeds)
    for seed in seeds:
        machine.plant.reset()
        assert machine.plant.play(seed[1:]) == len(seed) - 1


def test_without_pass_time_a_model_with_timers_is_refused(timed: Model) -> None:
    class Timeless:
        def reset(self) -> None: ...

        def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
            return {"lamp": False}

    with pytest.raises(ControllerError, match="pass_time"):
        machine_for(timed, Timeless())


def test_time_passes_for_a_controller_with_timers(timed: Model) -> None:
    machine = machine_for(timed, ProgramController(timed))
    run(machine, 30)
    assert machine.tally.moves["delay elapses"] > 0


def test_a_response_that_never_comes_is_told_with_the_scans_that_were_waited(timed: Model) -> None:
    class Deaf(ProgramController):
        def pass_time(self, ms: int) -> None:
            """Its clock stands still."""

    machine = machine_for(timed, Deaf(timed), like_program=False, left_alone_scans=12)
    with pytest.raises(Unanswered, match="T1 not answered within 12 scans in which nobody acted"):
        run(machine, 60, n_steps=4)


class DelayInPython:
    """The delay of the timed lamp, written by hand, on a clock in milliseconds."""

    preset_ms = 2000

    def reset(self) -> None:
        self.passed_ms: int | None = None

    def pass_time(self, ms: int) -> None:
        if self.passed_ms is not None:
            self.passed_ms += ms

    def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
        if not inputs["door_open"]:
            self.passed_ms = None
        elif self.passed_ms is None:
            self.passed_ms = 0
        return {"lamp": self.passed_ms is not None and self.passed_ms >= self.preset_ms}


@pytest.mark.parametrize("preset_ms", [10, 1000, 1800, 2200, 60_000])
def test_a_timer_that_is_up_earlier_or_later_is_found(timed: Model, preset_ms: int) -> None:
    """A scan takes 100 ms: what is up within one cannot be told apart."""
    delay = DelayInPython()
    delay.preset_ms = preset_ms
    plant = DrivenPlant(build(timed), delay)
    plant.make("door: shut to open")
    plant.make("delay elapses")
    plant.scan()
    with pytest.raises(Differs, match="lamp is"):
        plant.end()


def test_a_timer_that_is_up_in_time_is_not_found_at_fault(timed: Model) -> None:
    machine = machine_for(timed, DelayInPython())
    run(machine, 200)
    assert not machine.tally.failures
    assert machine.tally.rules["(time passes)"] > 0
    plant = machine.plant
    plant.reset()
    plant.make("door: shut to open")
    plant.wait()
    # The door shuts at the very moment when time is up, before any scan could tell.
    before = len(plant.recorded)
    assert plant.can("delay elapses")
    plant.make("delay elapses", scan_waits=True)
    assert len(plant.recorded) == before
    assert replay_file(timed, plant.run_file(Differs("", "", plant.run, str))).happenings


TWO = """PROGRAM Timed
VAR_INPUT door_open : BOOL; END_VAR
VAR_OUTPUT lamp, horn : BOOL; END_VAR
VAR short, long : TON; END_VAR
short(IN := door_open AND NOT short.Q, PT := T#300ms);
long(IN := door_open, PT := T#1s);
lamp := long.Q;
horn := short.Q;
END_PROGRAM
"""


class TwoInPython(DelayInPython):
    """A horn that sounds for a scan every 300 ms, and a lamp after a second."""

    preset_ms = 1000

    def reset(self) -> None:
        super().reset()
        self.short_ms: int | None = None
        self.horn = False

    def pass_time(self, ms: int) -> None:
        super().pass_time(ms)
        if self.short_ms is not None:
            self.short_ms += ms

    def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
        if not inputs["door_open"] or self.horn:
            self.short_ms = None
        elif self.short_ms is None:
            self.short_ms = 0
        self.horn = self.short_ms is not None and self.short_ms >= 300
        return {**super().scan(inputs), "horn": self.horn}


def test_what_has_passed_for_one_timer_has_passed_for_every_other(tmp_path: Path) -> None:
    """300 ms three times and then 100 more are a second, whichever timer was waited for."""
    yaml = TIMED.replace("{lamp: {lamp: red}}", "{lamp: {lamp: red}, horn: {}}")
    (tmp_path / "model.yaml").write_text(yaml, encoding="utf-8")
    (tmp_path / "controller.st").write_text(TWO, encoding="utf-8")
    model = load(tmp_path)
    for controller in (TwoInPython(), ProgramController(model)):
        plant = DrivenPlant(build(model), controller)
        plant.make("door: shut to open")
        for _ in range(4):
            assert plant.can("short elapses")
            plant.make("short elapses")
            for _ in range(3):
                plant.scan()
        assert plant.run.count("long elapses") == 1
        plant.end()
    machine = machine_for(model, TwoInPython())
    run(machine, 10)
    assert not machine.tally.failures
    assert machine.tally.moves["short elapses"] > machine.tally.moves["long elapses"] > 0


RETAINING = (
    TIMED.split("requirements:")[0]
    + """
faults: {F1: {says: the controller restarts, restart: true, intermittent: true}}
requirements: {T1: {says: x, when: lamp, never: door = shut AND lamp AND NOT lamp}}
"""
)
RETAINING_PROGRAM = """PROGRAM Kept
VAR_INPUT door_open : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR RETAIN was_open : BOOL; END_VAR
was_open := was_open OR door_open;
lamp := was_open;
END_PROGRAM
"""


class KeptInPython:
    """A lamp that stays on once the door was open, also over a restart."""

    def reset(self) -> None:
        self.was_open = False

    def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
        self.was_open |= bool(inputs["door_open"])
        return {"lamp": self.was_open}


class Keeping(KeptInPython):
    def restart(self) -> None:
        """What is retained stays."""


class Forgetting(KeptInPython):
    def restart(self) -> None:
        self.reset()


@pytest.fixture
def retaining(tmp_path: Path) -> Model:
    (tmp_path / "model.yaml").write_text(RETAINING, encoding="utf-8")
    (tmp_path / "controller.st").write_text(RETAINING_PROGRAM, encoding="utf-8")
    return load(tmp_path)


def restarted(model: Model, controller: KeptInPython | ProgramController) -> DrivenPlant:
    """The plant after the door was opened and shut and the controller restarted."""
    machine = machine_for(model, controller, faults=1, seeds=())
    for move in ("door: shut to open", "door: open to shut", "F1 strikes"):
        machine.plant.make(move)
    machine.plant.scan()
    return machine.plant


def test_a_restart_is_no_cold_start(retaining: Model) -> None:
    restarted(retaining, Keeping()).end()
    restarted(retaining, ProgramController(retaining)).end()
    with pytest.raises(Differs, match="lamp is False, the model's program gives True"):
        restarted(retaining, Forgetting()).end()


def test_without_restart_a_model_that_retains_values_over_one_is_refused(retaining: Model) -> None:
    with pytest.raises(ControllerError, match=r"retains values over a restart: .* restart\(\)"):
        machine_for(retaining, KeptInPython(), faults=1)
    machine_for(retaining, KeptInPython(), seeds=())  # nothing restarts it


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ({}, "no value for the output 'pump'"),
        ({"pomp": True}, "'pomp', which is not an output; did you mean 'pump'?"),
        (None, "the scan gave None; expected a mapping"),
        (dict.fromkeys(RampInPython().__class__.__dict__, 0), "which is not an output"),
    ],
)
def test_nonsense_is_told_in_one_sentence(answer: object, said: str) -> None:
    class Nonsense(RampInPython):
        def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
            return answer  # type: ignore[return-value]

    with pytest.raises(Faulty) as caught:
        machine_for(shipped("ramp"), Nonsense(), seeds=())
    assert said in caught.value.says


def test_a_value_of_the_wrong_type_is_told_with_what_was_expected() -> None:
    class Wrong(RampInPython):
        def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
            return {**super().scan(inputs), "green": "on"}

    with pytest.raises(Faulty) as caught:
        machine_for(shipped("ramp"), Wrong(), seeds=())
    assert caught.value.says == "the scan gave 'on' for 'green'; expected True or False"


def test_what_a_controller_raises_is_told() -> None:
    class Raising(RampInPython):
        def scan(self, inputs: Mapping[str, Value]) -> dict[str, Value]:
            raise ZeroDivisionError("by nothing")

    with pytest.raises(Faulty, match="the controller raised ZeroDivisionError: by nothing"):
        machine_for(shipped("ramp"), Raising(), seeds=())


def test_the_test_case_runs_by_itself_with_settings_for_machines_and_hardware() -> None:
    machine = machine_for(shipped("ramp"), RampInPython(), seeds=())
    chosen = machine.TestCase.settings
    assert (chosen.deadline, chosen.stateful_step_count) == (None, 25)
    machine.TestCase.settings = settings(chosen, max_examples=5, derandomize=True, database=None)
    result = unittest.TestResult()
    unittest.defaultTestLoader.loadTestsFromTestCase(machine.TestCase).run(result)
    assert (result.testsRun, result.errors, result.failures) == (1, [], [])
    assert machine.tally.n_runs >= 5


def test_faults_strike_the_controller_under_test_too(tmp_path: Path) -> None:
    """With a fault the ramp's end stop lies; its program believes it, and so is found at fault."""
    for name in ("model.yaml", "controller.st", "mimic.svg"):
        source = MODELS / "ramp" / name
        if source.exists():
            (tmp_path / name).write_text(source.read_text(encoding="utf-8"), encoding="utf-8")
    with (tmp_path / "model.yaml").open("a", encoding="utf-8") as file:
        file.write("faults: {E1: {says: end stop stuck, sensor: ramp_home, stuck: TRUE}}\n")
    model = load(tmp_path)
    machine = machine_for(model, RampInPython(), faults=1, seeds=())
    moves = ["panel to START", "panel to LOWER", "pin: in to out", "ramp: stowed to between"]
    for move in (*moves, "E1 strikes", "panel to NONE"):
        machine.plant.make(move)
    with pytest.raises(Violated, match="R2"):
        machine.plant.make("pin: out to in")
