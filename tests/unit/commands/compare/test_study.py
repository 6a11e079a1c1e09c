"""Comparing two models: differences by meaning, lockstep, verdicts, moves, impact."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from interlock.commands.compare.behaviour import Behaviour, Likeness, run_in_lockstep
from interlock.commands.compare.differences import Kind
from interlock.commands.compare.files import model_differences
from interlock.commands.compare.impact import find_impact
from interlock.commands.compare.product import NotApplicableError
from interlock.commands.compare.study import Comparison, compare
from interlock.commands.compare.verdicts import Effect
from interlock.engines import catalogue
from interlock.kernel.requirement import Outcome
from interlock.model.build import build
from interlock.model.model import Model
from tests.support.gate import gate
from tests.support.hoist import hoist
from tests.support.models import folders, shipped

LAMP = "lamp := shut AND NOT drive;"
LYING = (LAMP, "lamp := NOT drive;")
RAMPS = folders("ramp-broken")


def compared(old: Model, new: Model, with_faults: bool = False) -> Comparison:
    return compare(old, new, catalogue()["reference"](), with_faults)


def in_lockstep(old: Model, new: Model) -> Behaviour:
    return run_in_lockstep(build(old), build(new), catalogue()["reference"]())


def told(old: Model, new: Model) -> dict[tuple[str, str], Kind]:
    return {(d.section, d.name): d.kind for d in model_differences(old, new)}


# What changed


@pytest.mark.parametrize(
    "layout",
    [
        (LAMP, "(* moved *)\nLAMP :=\n  (shut) and not DRIVE;"),
        ("drive := pressed;", ";drive:=(pressed);;"),
        ("when: drive, says: the gate is open", "when: (DRIVE), says: the gate is open"),
        ("reads: gate = SHUT", "reads: (gate = shut)"),
    ],
)
def test_layout_comments_case_and_needless_brackets_are_no_change(
    tmp_path: Path, layout: tuple[str, str]
) -> None:
    assert not model_differences(gate(tmp_path / "old"), gate(tmp_path / "new", layout))


@pytest.mark.parametrize(
    ("change", "section", "name", "kind"),
    [
        (LYING, "statement", "lamp", Kind.CHANGED),
        (("says: the button", "says: the red button"), "control", "button", Kind.CHANGED),
        (("from: SHUT, to: BETWEEN, when: drive", "from: SHUT, to: BETWEEN"), "move",
         "gate: SHUT to BETWEEN", Kind.CHANGED),
        (("reads: button", "reads: NOT button"), "sensor", "pressed", Kind.CHANGED),
        (("lamp: green", "lamp: red"), "output", "lamp", Kind.CHANGED),
        (("stuck: 'TRUE'}\n  F2", "stuck: 'FALSE'}\n  F2"), "fault", "F1", Kind.CHANGED),
        (("can_still: gate = SHUT", "can_still: gate = OPEN"), "requirement", "R4", Kind.CHANGED),
        (("title: Gate", "title: Gate\nrun: {between_scans: one in all}"), "run", "run",
         Kind.CHANGED),
    ],
)  # fmt: skip
def test_each_section_tells_its_own_change(
    tmp_path: Path, change: tuple[str, str], section: str, name: str, kind: Kind
) -> None:
    found = told(gate(tmp_path / "old"), gate(tmp_path / "new", change))
    assert found == {(section, name): kind}


def test_other_words_are_told_apart_from_other_meaning(tmp_path: Path) -> None:
    new = gate(tmp_path / "new", ("says: the button", "says: the red button"))
    (wording,) = model_differences(gate(tmp_path / "old"), new)
    assert wording.is_wording


def test_a_statement_that_moved_is_told_as_moved(tmp_path: Path) -> None:
    swapped = f"{LAMP}\ndrive := pressed;"
    new = gate(tmp_path / "new", (f"drive := pressed;\n{LAMP}", swapped))
    found = told(gate(tmp_path / "old"), new)
    assert list(found.values()) == [Kind.MOVED]


def test_a_renamed_local_variable_is_told_once(tmp_path: Path) -> None:
    def using(name: str) -> tuple[tuple[str, str], tuple[str, str]]:
        declared = f"drive, lamp : BOOL; END_VAR\nVAR {name} : BOOL; END_VAR"
        return (
            ("drive, lamp : BOOL; END_VAR", declared),
            (LAMP, f"{name} := NOT drive;\nlamp := shut AND {name};"),
        )

    old, new = gate(tmp_path / "old", *using("idle")), gate(tmp_path / "new", *using("rests"))
    (difference,) = model_differences(old, new)
    assert (difference.section, difference.name) == ("declaration", "idle")
    assert difference.kind is Kind.RENAMED


def test_what_is_remembered_is_no_renaming_of_what_is_not(tmp_path: Path) -> None:
    def using(name: str, *statements: str) -> tuple[tuple[str, str], tuple[str, str]]:
        declared = f"drive, lamp : BOOL; END_VAR\nVAR {name} : BOOL; END_VAR"
        return ("drive, lamp : BOOL; END_VAR", declared), (LAMP, "\n".join(statements))

    # The same assignments; but one lamp tells of the last scan, the other of this one.
    old = gate(tmp_path / "old", *using("last", "lamp := shut AND last;", "last := pressed;"))
    new = gate(tmp_path / "new", *using("now", "now := pressed;", "lamp := shut AND now;"))
    kinds = told(old, new)
    assert kinds["declaration", "last"] is Kind.REMOVED
    assert kinds["declaration", "now"] is Kind.ADDED


def test_variables_of_a_renamed_block_instance_are_told_as_renamed(tmp_path: Path) -> None:
    block = """FUNCTION_BLOCK Held
VAR_INPUT on : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR wait : TON; END_VAR
wait(IN := on, PT := T#1s); q := wait.Q;
END_FUNCTION_BLOCK
PROGRAM Gate"""

    def using(name: str) -> list[tuple[str, str]]:
        declared = f"drive, lamp : BOOL; END_VAR\nVAR {name} : Held; END_VAR"
        called = f"{name}(on := shut);\nlamp := {name}.q;"
        program = ("drive, lamp : BOOL; END_VAR", declared), (LAMP, called)
        return [*program, ("PROGRAM Gate", block)]

    old, new = gate(tmp_path / "old", *using("shuts")), gate(tmp_path / "new", *using("stays"))
    found = {d.name: (d.kind, d.details[0].after) for d in model_differences(old, new)}
    assert found == {
        f"shuts.{part}": (Kind.RENAMED, f"stays.{part}") for part in ("on", "q", "wait")
    }


def test_the_same_statements_in_other_branches_are_a_change(tmp_path: Path) -> None:
    # The first statement may turn the condition that the second one stands under.
    one = "IF drive THEN drive := FALSE; lamp := TRUE; END_IF;"
    two = "IF drive THEN drive := FALSE; END_IF; IF drive THEN lamp := TRUE; END_IF;"
    old, new = gate(tmp_path / "old", (LAMP, one)), gate(tmp_path / "new", (LAMP, two))
    assert told(old, new) == {("statement", "program"): Kind.CHANGED}


# Lockstep


def test_a_lamp_that_nothing_reads_is_compared_over_everything_reachable(tmp_path: Path) -> None:
    found = in_lockstep(gate(tmp_path / "old"), gate(tmp_path / "new", LYING))
    likeness = {output.output: output.likeness for output in found.outputs}
    assert likeness == {"drive": Likeness.EQUAL, "lamp": Likeness.DIFFERS}
    (lamp,) = (output for output in found.outputs if output.output == "lamp")
    assert lamp.run is not None
    moves = [happening.move for happening in lamp.run.happenings]
    # The gate must leave its stop and the button be let go, both before the same scan.
    assert moves == [
        "scan", "button to TRUE", "scan", "gate: SHUT to BETWEEN", "button to FALSE", "scan"
    ]  # fmt: skip
    assert (lamp.run.before, lamp.run.after) == (0, 1)
    assert lamp.run.decided == "controller.st:5"


def test_a_program_is_equal_to_itself_with_the_states_of_the_model(tmp_path: Path) -> None:
    model = gate(tmp_path)
    found = in_lockstep(model, model)
    assert found.is_equal
    assert found.product.n_doubled == 0
    explored = catalogue()["reference"]().explore(build(model).system, [])
    assert found.n_states == explored.n_states


def test_what_is_computed_as_before_is_told_apart_from_what_was_not_seen_to_differ(
    tmp_path: Path,
) -> None:
    old = gate(tmp_path / "old", (LAMP, "lamp := shut;"))
    new = gate(
        tmp_path / "new", (LAMP, "lamp := shut;"), ("drive := pressed;", "drive := NOT pressed;")
    )
    likeness = {o.output: o.likeness for o in in_lockstep(old, new).outputs}
    assert likeness == {"drive": Likeness.DIFFERS, "lamp": Likeness.SAME_LOGIC}


def test_an_input_that_only_the_new_program_has_is_read_off_the_old_plant(tmp_path: Path) -> None:
    more = (
        ("shut, pressed : BOOL", "shut, pressed, opened : BOOL"),
        ("  pressed: {reads", "  opened: {reads: gate <> SHUT}\n  pressed: {reads"),
        (LAMP, "lamp := NOT opened AND NOT drive;"),
    )
    assert in_lockstep(gate(tmp_path / "old"), gate(tmp_path / "new", *more)).is_equal


def test_states_in_another_order_are_read_by_their_names(tmp_path: Path) -> None:
    other = ("states: [SHUT, BETWEEN, OPEN]", "states: [OPEN, SHUT, BETWEEN]\n    initial: SHUT")
    assert in_lockstep(gate(tmp_path / "old"), gate(tmp_path / "new", other)).is_equal


def test_a_signal_of_a_machine_that_the_old_plant_has_not_makes_lockstep_impossible(
    tmp_path: Path,
) -> None:
    more = (
        ("controls:", "  bolt: {states: [IN, OUT], moves: [{from: IN, to: OUT}]}\ncontrols:"),
        ("reads: gate = SHUT", "reads: gate = SHUT AND bolt = IN"),
    )
    old, new = gate(tmp_path / "old"), gate(tmp_path / "new", *more)
    with pytest.raises(NotApplicableError, match=r"signal shut .* gate = SHUT AND bolt = IN"):
        in_lockstep(old, new)
    found = compared(old, new)
    assert found.behaviour is None
    assert {t.name for t in find_impact(found).of_kind("output")} == {"drive", "lamp"}


def test_another_preset_is_a_difference_and_the_same_preset_none(tmp_path: Path) -> None:
    def delayed(name: str, preset: str) -> tuple[tuple[str, str], tuple[str, str]]:
        declared = f"drive, lamp : BOOL; END_VAR\nVAR {name} : TON; END_VAR"
        return (
            ("drive, lamp : BOOL; END_VAR", declared),
            (LAMP, f"{name}(IN := shut AND NOT drive, PT := {preset});\nlamp := {name}.Q;"),
        )

    old = gate(tmp_path / "old", *delayed("rest", "T#1s"))
    same = gate(tmp_path / "same", *delayed("pause", "T#1000ms"))
    longer = gate(tmp_path / "longer", *delayed("rest", "T#2s"))
    assert in_lockstep(old, same).is_equal
    assert in_lockstep(old, longer).differing == ("lamp",)


# Verdicts, moves, impact


@pytest.mark.parametrize("name", RAMPS)
def test_each_broken_ramp_is_worse_in_what_it_is_known_to_break(name: str) -> None:
    new = shipped(f"ramp-broken/{name}")
    found = compared(shipped("ramp"), new)
    assert set(found.worse) == {*new.expected_violated, *new.expected_vacuous}
    assert found.outcome is Outcome.VIOLATED
    touched = {t.name for t in find_impact(found).of_kind("requirement")}
    assert touched >= set(found.worse)
    assert find_impact(found).of_kind("hazard")


@pytest.mark.parametrize("name", RAMPS)
def test_mending_a_broken_ramp_makes_nothing_worse_but_what_it_no_longer_asks(name: str) -> None:
    old = shipped(f"ramp-broken/{name}")
    found = compared(old, shipped("ramp"))
    better = {v.id for v in found.verdicts if v.effect is Effect.BETTER}
    assert better >= set(old.expected_violated)
    dropped = set(old.statements) - set(shipped("ramp").statements)
    assert set(found.worse) == dropped


def test_driving_off_with_the_ramp_down_is_newly_possible_by_a_shortest_run() -> None:
    found = compared(shipped("ramp"), shipped("ramp-broken/pin-alone")).moves
    (driving,) = (c for c in found.gained if c.move == "vehicle: parked to driving")
    assert driving.elsewhere
    assert driving.configurations == (("between", "in", "parked"), ("lowered", "in", "parked"))
    assert driving.run[-1].move == "vehicle: parked to driving"
    # R1 is broken at the same moment, by the same move.
    assert len(driving.run) == 13
    assert not found.lost
    assert found.reached_only_new == (("between", "in", "driving"), ("lowered", "in", "driving"))


def test_what_is_gained_one_way_is_lost_the_other_way() -> None:
    ramp, broken = shipped("ramp"), shipped("ramp-broken/lost-bracket")
    there, back = compared(ramp, broken).moves, compared(broken, ramp).moves
    assert {c.move for c in there.gained} == {c.move for c in back.lost}
    assert there.reached_only_new == back.reached_only_old


def test_faults_that_newly_break_a_requirement_are_named(tmp_path: Path) -> None:
    claim = ("judged: after scan, hazards: [H1]", "judged: after scan, survives: 1, hazards: [H1]")
    blind = (LAMP, "lamp := NOT pressed AND NOT drive;")
    old = gate(tmp_path / "old", claim)
    found = compared(old, gate(tmp_path / "new", claim, blind), with_faults=True)
    (r1,) = (v for v in found.verdicts if v.id == "R1")
    assert found.order == 1
    # Without faults it is violated, so no set of faults is minimal but the empty one.
    assert r1.gained_sets == ((),)
    assert ("F1",) in r1.lost_sets
    assert r1.effect is Effect.WORSE


def test_a_common_cause_made_one_connector_breaks_what_it_did_not_count_against(
    tmp_path: Path,
) -> None:
    old = hoist(tmp_path)
    lost_together = replace(old.faults["FC"], common_cause=False)
    new = replace(old, faults={**old.faults, "FC": lost_together})
    engine = catalogue()["reference"]()
    found = compare(old, new, engine, faults=("FC",))
    (r1,) = (v for v in found.verdicts if v.id == "R1")
    assert (r1.gained_sets, r1.effect) == ((("FC",),), Effect.WORSE)
    assert found.outcome is Outcome.VIOLATED
    back = compare(new, old, engine, faults=("FC",))
    assert [v.gained_sets for v in back.verdicts if v.id == "R1"] == [()]
    # A common cause in both is looked at in both.
    same = compare(old, old, engine, faults=("FC",))
    assert {v.effect for v in same.verdicts} == {Effect.SAME}


def test_nothing_is_touched_where_nothing_changed(tmp_path: Path) -> None:
    model = gate(tmp_path)
    found = compared(model, model)
    impact = find_impact(found)
    assert (found.outcome, impact.touched, impact.steps) == (Outcome.HOLDS, (), ())
    assert impact.untouched == ("R1", "R2", "R3", "R4")


def test_a_requirement_that_is_no_longer_asked_counts_as_worse(tmp_path: Path) -> None:
    dropped = ("  R4: {says: it can always be shut, can_still: gate = SHUT}\n", "")
    found = compared(gate(tmp_path / "old"), gate(tmp_path / "new", dropped))
    assert found.worse == ("R4",)
    assert found.verdicts[-1].effect is Effect.DROPPED


def test_a_premise_that_occurs_for_the_first_time_is_no_improvement(tmp_path: Path) -> None:
    dark, lit = gate(tmp_path / "dark", (LAMP, "lamp := FALSE;")), gate(tmp_path / "lit")
    (r1,) = (v for v in compared(dark, lit).verdicts if v.id == "R1")
    assert r1.effect is Effect.TESTED
    assert not r1.is_worse
