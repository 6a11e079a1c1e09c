"""What inserted faults do to a small model, where each answer can be seen by eye."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.commands.faults import study as study_module
from interlock.commands.faults.fmea import rows_of
from interlock.commands.faults.likelihood import event_of, likelihood_of
from interlock.commands.faults.study import FaultStudy, Options, study_faults
from interlock.commands.faults.tolerance import losses_by_change, pairs_of, with_sensor_faults
from interlock.engines import catalogue, projector
from interlock.judgement.beside import Beside, seen_beside
from interlock.judgement.detection import Harm, Telling
from interlock.judgement.effects import FaultEffects
from interlock.judgement.fault_sets import sets_of_all
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.build import RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.model.timing import Timing
from interlock.reliability.figures import two_figures
from tests.support.gate import gate, written
from tests.support.hoist import ONE_CONTACT, WARNED_FIRST, hoist
from tests.support.press_line import press_line


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Model:
    return hoist(tmp_path_factory.mktemp("hoist"))


def study(model: Model, **options: object) -> FaultStudy:
    chosen = replace(Options(order=2, n_runs=9), **options)  # type: ignore[arg-type]
    return study_faults(model, catalogue()["reference"](), chosen)


@pytest.fixture(scope="module")
def found(model: Model) -> FaultStudy:
    return study(model)


def effects_of(found: FaultStudy, fault: str) -> FaultEffects:
    return next(one for one in found.effects if one.fault.id == fault)


def test_every_set_has_a_shortest_run_that_was_replayed(found: FaultStudy) -> None:
    wanted = {(id_, frozenset(one)) for id_, f in found.sets.items() for one in f.sets}
    shown = {(run.requirement, frozenset(run.faults)) for run in found.runs}
    assert shown == wanted
    assert wanted


def test_a_frozen_lamp_that_nobody_reads_has_its_effects(tmp_path: Path) -> None:
    given = gate(
        tmp_path,
        ("output: drive, stuck: 'TRUE'", "output: lamp, stuck: frozen"),
        ("when: lamp, always: gate = SHUT", "never: gate = OPEN AND button"),
    )
    found = study_faults(given, catalogue()["enumerate"](), Options(order=1, n_runs=1))
    assert effects_of(found, "F5").outputs_on == ("lamp",)


def test_faults_strike_in_the_run_in_the_order_in_which_they_are_told(found: FaultStudy) -> None:
    for run in found.runs:
        moves = [happening.move for happening in run.run.happenings]
        struck = [m.removesuffix(" strikes") for m in moves if m.endswith(" strikes")]
        assert tuple(struck) == run.faults


def test_claims_are_judged_without_common_causes_unless_told(
    model: Model, found: FaultStudy
) -> None:
    assert found.claimed("R1") is Outcome.HOLDS
    strict = study(model, claim_common_cause=True, n_runs=0)
    assert strict.claimed("R1") is Outcome.VIOLATED
    without = study(model, common_cause=False, n_runs=0)
    assert without.sets["R1"].sets == (("FA", "FB"),)
    assert found.outcome is Outcome.VIOLATED, "the valve and the red lamp have one channel"


def test_more_faults_than_were_looked_at_are_undecided(model: Model) -> None:
    shallow = study(model, order=1, n_runs=0, sensors=False)
    assert shallow.sets["R5"].survives(1) is Outcome.HOLDS
    assert shallow.sets["R5"].survives(2) is Outcome.UNDECIDED
    assert str(shallow.sets["R5"].tolerance) == "≥1"
    assert str(shallow.sets["R1"].without({"FC"}).tolerance) == "≥1"


def test_a_limit_leaves_every_claim_undecided_and_is_named(model: Model) -> None:
    cut = study(model, limits=Limits(max_states=50), n_runs=0)
    assert cut.outcome is Outcome.UNDECIDED
    assert {found.limit for found in cut.sets.values()} == {"states 50"}
    assert cut.effects == ()


def test_an_alarm_that_the_fault_brings_on_announces_it(found: FaultStudy) -> None:
    assert effects_of(found, "FA").alarms == ("horn",)
    assert found.showings["FA"].outputs == ("horn",)
    assert found.showings["FA"].is_alarm
    assert found.showings["FA"].event in ("opens the door", "as soon as it strikes")


def test_a_withheld_output_is_a_refusal_and_no_alarm(found: FaultStudy) -> None:
    radio = effects_of(found, "FW")
    assert radio.telling is Telling.REFUSAL
    assert set(radio.outputs_off) == {"raise_a", "raise_b", "lower_a"}
    assert not found.showings["FW"].is_alarm


def test_an_alarm_kept_dark_announces_nothing(found: FaultStudy) -> None:
    both = effects_of(found, "FC")
    assert both.muted == ("red",)
    assert both.telling is Telling.SILENT
    assert found.harm("FC", "R1") is Harm.DANGEROUS
    assert "FC" in found.silent


def test_harm_is_detected_where_the_alarm_comes_first_on_every_run(tmp_path: Path) -> None:
    found = study(hoist(tmp_path, WARNED_FIRST), n_runs=1)
    assert ("FA",) in found.sets["R1"].sets
    # The horn sounds in the scan before the motor starts for the first time.
    assert found.harm("FA", "R1") is Harm.DETECTED
    assert found.harm("FC", "R1") is Harm.DANGEROUS
    assert found.harm("FB", "R1") is Harm.HARMLESS


def test_an_alarm_that_comes_together_with_the_harm_is_no_warning(tmp_path: Path) -> None:
    found = study(hoist(tmp_path, ONE_CONTACT), n_runs=1)
    # The contacts disagree in the very scan in which the motor starts: the horn comes with it.
    assert found.harm("FA", "R1") is Harm.DANGEROUS


def test_a_fault_that_breaks_something_is_not_without_effect(tmp_path: Path) -> None:
    """What the pump does follows the memory alone: no next scan shows that the contact is open."""
    yaml = """\
title: A pump that follows one scan later
controller: controller.st
controls: {button: {}}
sensors: {pressed: {reads: button}}
outputs: {pump: {}}
faults:
  F1: {says: the contact is stuck open, sensor: pressed, stuck: 'FALSE'}
requirements:
  R1: {says: a press starts it, whenever: button, leads_to: pump OR NOT button, within: 3 scans}
run: {scan_ms: 100}
"""
    st = """\
PROGRAM P
VAR_INPUT pressed : BOOL; END_VAR
VAR first : BOOL; END_VAR
VAR_OUTPUT pump : BOOL; END_VAR
pump := first;
first := pressed;
END_PROGRAM
"""
    found = study(load(written(tmp_path, yaml, st)), n_runs=1)
    assert ("F1",) in found.sets["R1"].sets
    assert not effects_of(found, "F1").is_effective
    assert found.ineffective == ()
    assert found.beside == {"F1": Beside(off=("pump",))}
    (row,) = rows_of(found)
    assert row.vehicle == "none in the next scan; beside a run without it: off pump"


def test_a_fault_that_is_never_seen_is_told_so_and_what_is_not_asked_as_well(
    found: FaultStudy, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    vehicle = {row.fault: row.vehicle for row in rows_of(found)}
    assert vehicle["FS"] == "none in the next scan; beside a run without it: none"
    # A restart turns off at once what the next scan turns on again.
    assert vehicle["FR"].startswith("none in the next scan; beside a run without it: off feed")
    assert set(found.beside) == {"FS", "FR"}
    monkeypatch.setattr(study_module, "MOST_STATES", 10)
    cut = study(hoist(tmp_path), n_runs=0)
    assert {one.undecided for one in cut.beside.values()} == {"there are too many states for that"}
    assert "beside a run without it: undecided, there are too many" in str(rows_of(cut))


def test_what_is_not_looked_at_to_the_end_is_undecided(tmp_path: Path) -> None:
    model = hoist(tmp_path)
    few = seen_beside(model, "FS", most=5)
    assert few == Beside(undecided="more than 5 pairs of states")
    late = seen_beside(model, "FS", until=0.0)
    assert late == Beside(undecided="the limit of time was hit")
    timed = replace(model, timing=Timing(100, 100, 100))
    assert "time" in seen_beside(timed, "FS").undecided


def test_a_fault_without_any_effect_is_reported(found: FaultStudy) -> None:
    assert "FS" in [fault.id for fault in found.ineffective]
    effective = {one.fault.id for one in found.effects if one.is_effective}
    assert effective | {fault.id for fault in found.ineffective} == {
        fault.id for fault in found.model.faults.values() if fault.excluded is None
    }


def test_a_jam_prevents_moves_and_a_leak_lets_them_happen(found: FaultStudy) -> None:
    jam = effects_of(found, "FK")
    assert set(jam.prevents) == {"hook: between to up", "hook: between to down"}
    assert effects_of(found, "FV").enables == ("hook: between to down",)


def test_a_sensor_is_worth_the_tolerance_that_its_removal_costs(found: FaultStudy) -> None:
    costs = {
        (change.says, loss.requirement): (str(loss.before), str(loss.after), loss.by)
        for change in found.changes
        for loss in change.losses
    }
    assert costs["door_a removed", "R1"] == ("1", "0", (("FB",),))
    assert costs["door_b removed", "R1"] == ("1", "0", (("FA",),))
    assert costs["door_a and door_b merged", "R1"] == ("1", "0", (("FC",),))
    assert costs["up_pressed removed", "R5"][1:] == ("none", ((),))
    assert not any(says.startswith(("spare", "top")) for says, _ in costs)


def test_pairs_are_named_once(model: Model) -> None:
    assert pairs_of(model) == [("door_a", "door_b")]


def test_human_errors_are_a_class_of_their_own(model: Model, found: FaultStudy) -> None:
    assert found.human_sets == {}
    with_them = study(model, human=True, n_runs=1)
    assert with_them.sets == found.sets, "human errors add nothing to the sets of faults alone"
    assert set(with_them.human_sets) == set(found.sets)


def test_what_may_lie_hidden_is_told_first(found: FaultStudy) -> None:
    assert found.latent_first(("FA", "FL")) == ("FL", "FA")


def test_figures_come_from_rates_and_exposures(found: FaultStudy) -> None:
    known = likelihood_of(found, "R1")
    assert known is not None
    # FC 2e-8·10 h beside FA and FB, 1e-6·10 h times 2e-6·100 h.
    assert two_figures(known.solution.probability) == two_figures(2e-7 + 1e-5 * 2e-4)
    assert any("assumed figures: FC, FB" in line for line in known.assumptions)
    independent = likelihood_of(found, "R1", common_cause=False)
    assert independent is not None
    assert two_figures(independent.solution.probability) == "2.0e-9"


def test_an_assumed_figure_is_marked_wherever_the_event_is_named(found: FaultStudy) -> None:
    event = event_of(found.model.faults["FB"])
    assert event is not None
    assert event.label.endswith("[assumed]")
    assert "assumed" in event.source


def test_a_fault_without_a_figure_is_named_and_left_out(found: FaultStudy) -> None:
    bare = replace(found.model.faults["FA"], rate=None, exposure_h=None)
    model = replace(found.model, faults={**found.model.faults, "FA": bare})
    known = likelihood_of(replace(found, model=model), "R1")
    assert known is not None
    assert known.without_figure == ("FA",)
    assert [event.name for event in known.tree.events] == ["FC"]


@pytest.mark.parametrize("order", [None, 2])
def test_added_faults_of_two_sensors_need_not_strike_in_one_run(
    tmp_path: Path, order: int | None
) -> None:
    model = press_line(tmp_path, (1,))
    found = study_faults(model, catalogue()["enumerate"](), Options(order=order, n_runs=0))
    whole = with_sensor_faults(model, {("guard_1_a", "guard_1_b"): True})
    added = [id_ for id_ in whole.faults if id_ not in model.faults]
    built = build(whole, RunClass(tuple(whole.faults), order))
    sets = sets_of_all(
        built,
        built.requirements.values(),
        lambda asked, ids: projector().project(asked.system, tuple(ids)),
    )
    changes = losses_by_change(whole, added, lambda _: sets)
    assert found.changes == tuple(change for change in changes if change.losses)
    assert ("guard_1_a",) in {change.sensors for change in found.changes}


def test_what_is_too_much_for_all_sensors_together_is_asked_for_each(tmp_path: Path) -> None:
    model = press_line(tmp_path, (1,))
    options = Options(order=None, n_runs=0, only=("R1a", "R1b", "R1c", "R1e"))
    found = study_faults(model, catalogue()["enumerate"](), options)
    together = found.explorations[-1]
    assert together.says == (
        "any number of component faults beside one added to tell what a sensor is worth"
    )
    fewer = replace(options, limits=Limits(max_states=together.n_states - 1))
    again = study_faults(model, catalogue()["enumerate"](), fewer)
    assert [one.limit is None for one in again.explorations].count(False) == 1
    assert len(again.explorations) > len(found.explorations)
    assert again.changes == found.changes
    # R1c falls to one fault already, R1a to two, R1e to none; R1b needs none and can lose nothing.
    lost = {loss.requirement for change in found.changes for loss in change.losses}
    assert lost == {"R1a", "R1c", "R1e"}


@pytest.mark.slow
def test_all_faults_of_a_first_model_strike_in_any_number(tmp_path: Path) -> None:
    """Six machines, 16 signals, 8 faults, and 32 more to tell what each sensor is worth."""
    model = press_line(tmp_path, (1, 2), "one in all")
    found = study_faults(model, catalogue()["enumerate"](), Options(order=None))
    assert {f.sets for id_, f in found.sets.items() if id_ in ("R1a", "R2a")} == {
        (("F1a", "F1b"),),
        (("F2a", "F2b"),),
    }
    assert found.changes
