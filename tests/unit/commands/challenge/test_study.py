"""Defects are seeded as documented, judged honestly, and survive interruptions."""

from __future__ import annotations

import os
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.commands.challenge.accepted import accepted_of
from interlock.commands.challenge.decide import DefectDecider, Stage
from interlock.commands.challenge.defects import Region, defects_of
from interlock.commands.challenge.expression_defects import DefectKind
from interlock.commands.challenge.gaps_file import find_gaps
from interlock.commands.challenge.journal import FILE, Journal
from interlock.commands.challenge.results import DefectOutcome, DefectResult
from interlock.commands.challenge.study import Challenge, Choice, challenge
from interlock.commands.challenge.tasks import Processes, Task, TaskKind
from interlock.engines import catalogue
from interlock.kernel.query import Exploration, Limits, ProgressSink, Query
from interlock.kernel.system import System
from interlock.model.build import FAULT_FREE, build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.st import typed as ty
from interlock.st.evaluate import as_written
from interlock.st.write import write_expression
from tests.support.gate import gate
from tests.support.models import shipped


@pytest.mark.parametrize("name", ["ramp", "wren", "landing-gear-untimed"])
def test_defects_have_ids_of_their_own_that_never_change(name: str) -> None:
    model = shipped(name)
    ids = [defect.id for defect in defects_of(model)]
    assert len(set(ids)) == len(ids)
    assert ids == [defect.id for defect in defects_of(model)]
    assert {defect.region for defect in defects_of(model)} == set(Region)


def test_the_documented_sorts_of_defect_are_all_seeded_in_the_demo_vehicle() -> None:
    assert {defect.kind for defect in defects_of(shipped("wren"))} == set(DefectKind)


@pytest.mark.parametrize("name", ["wren", "wren-changed/knob-alone"])
def test_every_gap_that_is_accepted_of_the_demo_vehicle_is_still_seeded(name: str) -> None:
    model = shipped(name)
    gaps = find_gaps(model)
    found = accepted_of(gaps, defects_of(model))
    # A revision inherits the file, and may have no such defect.
    assert len(found) == len(gaps.entries) or gaps.is_inherited
    assert found


def test_a_seal_in_loses_its_reset() -> None:
    model = shipped("ramp")
    defect = next(d for d in defects_of(model) if d.kind is DefectKind.RESET)
    assert defect.id == "controller.st:18:9 drop every reset of pump"
    statement = defect.applied_to(model).program.body[0]
    assert isinstance(statement, ty.Assign)
    assert write_expression(as_written(statement.value)) == "start OR pump"


def seeded(model: Model, choice: Choice | None = None, limits: Limits = Limits()) -> Challenge:
    return challenge(model, catalogue()["reference"](), choice or Choice(), limits)


@pytest.fixture
def small(tmp_path: Path) -> Model:
    return gate(tmp_path / "gate", ("shut AND NOT drive", "shut AND NOT drive AND NOT pressed"))


@pytest.mark.slow
def test_the_ramp_is_challenged_with_every_defect() -> None:
    found = challenge(shipped("ramp"), catalogue()["enumerate"]())
    assert len(found.results) == found.n_all == 142
    counts = {outcome: len(found.with_outcome(outcome)) for outcome in DefectOutcome}
    assert counts == {
        DefectOutcome.CAUGHT: 104,
        DefectOutcome.EQUIVALENT: 2,
        DefectOutcome.GAP: 36,
        DefectOutcome.UNDECIDED: 0,
    }
    # The valve opens only while the pin is out, so the guard need not ask for it again.
    assert [defect.id for defect in found.redundant] == [
        "model.yaml:23:56 guard: drop term pin = out"
    ]
    assert all(result.differs for _, result in found.with_outcome(DefectOutcome.GAP))
    assert sum(found.caught_by.values()) == 104


def test_terms_that_say_the_same_twice_are_redundant(small: Model) -> None:
    assert [defect.says for defect in seeded(small).redundant] == [
        "drop term NOT drive",
        "drop term NOT pressed",
    ]


def test_what_a_limit_cuts_short_is_undecided_and_not_caught(small: Model) -> None:
    found = seeded(small, limits=Limits(max_states=3))
    assert not found.with_outcome(DefectOutcome.EQUIVALENT)
    assert not found.with_outcome(DefectOutcome.GAP)
    undecided = found.with_outcome(DefectOutcome.UNDECIDED)
    assert undecided
    assert all(result.limit for _, result in undecided)


@pytest.mark.parametrize("n_processes", [1, 2])
def test_when_the_time_is_over_no_defect_is_begun_any_more(small: Model, n_processes: int) -> None:
    told: list[int] = []

    def progress(says: str, n_done: int, n_in_all: int) -> None:
        told.append(n_done)

    # An hour for each exploration, but none is left of it for all of them together.
    over = Limits(max_seconds=3600, until=time.monotonic())
    choice = Choice(n_processes=n_processes)
    found = challenge(small, catalogue()["reference"](), choice, over, progress)
    assert {result.outcome for result in found.results.values()} == {DefectOutcome.UNDECIDED}
    assert {result.limit for result in found.results.values()} == {"seconds 3600"}
    assert not told


def test_a_requirement_that_is_violated_already_catches_nothing() -> None:
    choice = Choice(regions=[Region.SENSORS], sample=3)
    found = seeded(shipped("ramp-broken/pin-alone"), choice)
    assert not {"R1", "R2"} & set(found.caught_by)


@pytest.mark.parametrize("engine", ["reference", "enumerate"])
def test_arithmetic_that_fails_already_catches_nothing(tmp_path: Path, engine: str) -> None:
    overflow = (
        ("lamp : BOOL; END_VAR", "lamp : BOOL; n : INT (0..1); END_VAR"),
        ("lamp := ", "n := SEL(pressed, 0, 2);\nlamp := "),
    )
    broken = challenge(gate(tmp_path / "a", *overflow), catalogue()[engine](), Choice(sample=8))
    assert not any(r.requirement == "ARITHMETIC" for r in broken.results.values())
    # One that is new with the defect is noticed.
    both = ("NOT drive;\n", "NOT drive;\nn := SEL(lamp, 0, 1) + SEL(drive, 0, 1);\n")
    model = gate(tmp_path / "b", overflow[0], both)
    found = challenge(model, catalogue()[engine](), Choice(regions=(Region.CONTROLLER,)))
    assert found.results["controller.st:5:18 drop NOT of drive"].requirement == "ARITHMETIC"


def test_a_defect_may_leave_no_arithmetic_that_could_fail(tmp_path: Path) -> None:
    counting = (
        ("lamp : BOOL; END_VAR", "lamp : BOOL; n : INT (0..3); END_VAR"),
        (
            "NOT drive;\n",
            "NOT drive;\nIF pressed THEN n := n + 1; END_IF;\nIF n > 2 THEN n := 0; END_IF;\n",
        ),
    )
    model = gate(tmp_path, *counting)
    assert "ARITHMETIC" in build(model).requirements
    found = challenge(model, catalogue()["enumerate"](), Choice(regions=(Region.CONTROLLER,)))
    changed = [defect for defect in found.results if ":5:" in defect]
    assert len(changed) > 3


def test_a_requirement_that_comes_too_late_already_catches_nothing(tmp_path: Path) -> None:
    asked = "whenever: button, leads_to: drive OR NOT button, within: 100 ms"
    response = ("  R4: {says", f"  R5: {{says: starts soon, {asked}}}\n  R4: {{says")
    clock = ("plant:\n", "run: {scan_ms: 20}\nplant:\n")
    in_time = gate(tmp_path / "a", response, clock)
    assert {r.requirement for r in seeded(in_time).results.values()} >= {"R5"}
    slow = ("outputs:\n", "outputs:\n  drive: {delay_ms: 500, delay_assumed: true}\n")
    late = gate(tmp_path / "b", response, clock, slow)
    # It is violated with and without a defect, so it tells of none.
    assert "R5" not in {r.requirement for r in seeded(late).results.values()}


def test_a_sample_is_the_same_for_the_same_seed(small: Model) -> None:
    one, same = (seeded(small, Choice(sample=5, seed=3)) for _ in range(2))
    other = seeded(small, Choice(sample=5, seed=4))
    assert list(one.results) == list(same.results) != list(other.results)
    assert one == same


def test_redundancy_against_a_fault_counts_only_where_faults_are_tried(tmp_path: Path) -> None:
    model = gate(
        tmp_path,
        ("shut, pressed", "shut, shut_2, pressed"),
        ("lamp := shut", "lamp := shut AND shut_2"),
        ("shut: {reads", "shut_2: {reads: gate = SHUT}\n  shut: {reads"),
        ("judged: after scan, hazards", "judged: after scan, survives: 1, hazards"),
    )
    id_ = "controller.st:5:9 drop term shut"
    # The second contact does the work of the first, until the second sticks: but no fault of
    # this model sticks it, so only dropping the second is noticed, and only under faults.
    second = next(d.id for d in defects_of(model) if d.says == "drop term shut_2")
    assert {d.id for d in seeded(model).redundant} >= {id_, second}
    under_faults = seeded(model, Choice(claimed=True))
    assert under_faults.results[second].outcome is DefectOutcome.CAUGHT
    assert under_faults.results[second].requirement == "R1"


def test_an_interrupted_journal_goes_on_and_counts_nothing_twice(
    small: Model, tmp_path: Path
) -> None:
    whole = seeded(small, Choice(folder=tmp_path))
    file = tmp_path / FILE
    lines = file.read_bytes().splitlines(keepends=True)
    assert len(lines) == 1 + whole.n_all
    file.write_bytes(b"".join(lines[:10]) + lines[10][:25])
    resumed = seeded(small, Choice(folder=tmp_path))
    assert resumed.n_resumed == 9
    assert resumed.results == whole.results
    assert sorted(file.read_bytes().splitlines(keepends=True)) == sorted(lines)


def test_undecided_results_are_tried_again_when_a_journal_goes_on(
    small: Model, tmp_path: Path
) -> None:
    short = seeded(small, Choice(folder=tmp_path), Limits(max_states=14))
    assert short.with_outcome(DefectOutcome.UNDECIDED)
    again = seeded(small, Choice(folder=tmp_path))
    assert again.n_resumed == again.n_all - len(short.with_outcome(DefectOutcome.UNDECIDED))
    assert not again.with_outcome(DefectOutcome.UNDECIDED)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"{}\n", "this journal is of another model"),
        (b"[1]\n", "not a line of a challenge's journal"),
        (b'{"fingerprint": "m"}\nnonsense\n', "2:1: this is not a line"),
        (b'{"fingerprint": "m"}\n{"defect": 1}\n', "2:1: this is not a line"),
    ],
)
def test_a_foreign_journal_is_refused_in_one_line(
    tmp_path: Path, content: bytes, says: str
) -> None:
    (tmp_path / FILE).write_bytes(content)
    with pytest.raises(InputError, match=says):
        Journal(tmp_path, "m")


def test_a_result_survives_being_written_down(small: Model) -> None:
    for result in seeded(small).results.values():
        assert DefectResult.from_data(result.as_data()) == result


@dataclass(frozen=True)
class Dying:
    """Ends its process once for each of `n_deaths` marks it can make, then works."""

    folder: Path
    n_deaths: int
    name: str = "dying"

    def explore(
        self,
        system: System,
        queries: Sequence[Query],
        limits: Limits = Limits(),
        progress: ProgressSink | None = None,
    ) -> Exploration:
        for number in range(self.n_deaths):
            try:
                (self.folder / str(number)).touch(exist_ok=False)
            except FileExistsError:
                continue
            os._exit(1)
        return catalogue()["reference"]().explore(system, queries, limits, progress)


def looks(model: Model, n: int) -> list[Task]:
    stage = Stage(FAULT_FREE, tuple(model.statements))
    return [Task(TaskKind.LOOK, stage, (defect.id,)) for defect in defects_of(model)[:n]]


@pytest.mark.parametrize("n_deaths", [1, 2])
def test_a_process_that_dies_loses_no_result_and_repeats_none(
    small: Model, tmp_path: Path, n_deaths: int
) -> None:
    tasks = looks(small, 8)
    decider = DefectDecider(small, Dying(tmp_path, n_deaths))
    done = list(Processes(decider, 2).run(tasks))
    assert sorted(task.defects for task, _ in done) == sorted(task.defects for task in tasks)
    alive = DefectDecider(small, catalogue()["reference"]())
    defects = {defect.id: defect for defect in defects_of(small)}
    for task, (result,) in done:
        assert result == alive.look_near_power_up(defects[task.defects[0]], task.stage)


def test_what_kills_every_process_is_undecided(small: Model, tmp_path: Path) -> None:
    decider = DefectDecider(small, Dying(tmp_path, 1000))
    ((_, (result,)),) = Processes(decider, 1).run(looks(small, 1))
    assert result.outcome is DefectOutcome.UNDECIDED
    assert result.limit == "its process died"


def test_processes_find_what_one_process_finds(small: Model) -> None:
    assert seeded(small, Choice(n_processes=2)).results == seeded(small).results


MORE = "  R4: {says: it can always be shut, can_still: gate = SHUT}\n"
OTHER = """\
  R5: {says: dark for a reason, when: NOT lamp AND gate = SHUT, always: drive, judged: after scan}
"""


def test_after_a_requirement_is_added_only_the_gaps_are_tried_again(tmp_path: Path) -> None:
    folder = tmp_path / "journal"
    first = seeded(gate(tmp_path / "one"), Choice(folder=folder))
    model = gate(tmp_path / "two", (MORE, MORE + OTHER))
    again = seeded(model, Choice(folder=folder))
    n_gaps = len(first.with_outcome(DefectOutcome.GAP))
    assert again.n_resumed == first.n_all - n_gaps
    assert len(again.with_outcome(DefectOutcome.GAP)) < n_gaps
    # As if nothing had been known before, but for which requirement is named first.
    anew = seeded(model)
    assert {i: t.outcome for i, t in again.results.items()} == {
        i: t.outcome for i, t in anew.results.items()
    }
    assert seeded(model, Choice(folder=folder)).n_resumed == again.n_all


def test_what_a_requirement_caught_that_is_changed_is_tried_again(tmp_path: Path) -> None:
    folder = tmp_path / "journal"
    first = seeded(gate(tmp_path / "one"), Choice(folder=folder))
    model = gate(tmp_path / "two", ("event: gate = OPEN, only_after", "event: drive, only_after"))
    again = seeded(model, Choice(folder=folder))
    caught = first.with_outcome(DefectOutcome.CAUGHT)
    kept = sum(result.requirement != "R3" for _, result in caught)
    assert again.n_resumed == kept + len(first.with_outcome(DefectOutcome.EQUIVALENT))
    assert {i: t.outcome for i, t in again.results.items()} == {
        i: t.outcome for i, t in seeded(model).results.items()
    }


def test_a_journal_is_of_another_model_where_more_than_requirements_changed(
    tmp_path: Path,
) -> None:
    folder = tmp_path / "journal"
    seeded(gate(tmp_path / "one"), Choice(folder=folder, sample=3))
    model = gate(
        tmp_path / "two", ("when: drive, says: the gate is open", "says: the gate is open")
    )
    with pytest.raises(InputError, match="this journal is of another model"):
        seeded(model, Choice(folder=folder, sample=3))


@pytest.mark.parametrize(
    ("type_", "asked", "defect"),
    [("INT", "x > -300", "-299 for -300"), ("INT", "x > 300", ">="), ("REAL", "x > 3.0", ">=")],
)
def test_what_differs_only_at_a_value_that_was_not_tried_is_not_equivalent(
    tmp_path: Path, type_: str, asked: str, defect: str
) -> None:
    (tmp_path / "main.st").write_text(
        f"PROGRAM p VAR_INPUT x : {type_}; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        f"q := {asked}; END_PROGRAM"
    )
    (tmp_path / "model.yaml").write_text(
        "title: Free\ncontroller: main.st\nrequirements:\n  R1: {says: it is shown, exists: q}\n"
    )
    found = seeded(load(tmp_path))
    outcomes = {r.outcome for id_, r in found.results.items() if defect in id_}
    assert outcomes == {DefectOutcome.UNDECIDED}
