"""The judge accepts what is true of the model and names both sides where it is not."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from interlock.base.errors import InternalError
from interlock.engines import catalogue
from interlock.independent_judge.behind import Behind
from interlock.independent_judge.judge import judged_word, owed_by_loop, replay
from interlock.independent_judge.player import Player
from interlock.kernel.asking import Question, ask
from interlock.kernel.evaluate import evaluate
from interlock.kernel.query import Reach
from interlock.kernel.system import Stepper
from interlock.kernel.witness import Step, Witness
from interlock.model.build import ARITHMETIC, Built, RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import gate
from tests.support.small_models import write_model

# The lamp no longer asks the switch, so it is lit while the gate still falls.
LYING = ("lamp := shut AND NOT drive", "lamp := NOT drive")


def violated(model: Model, id_: str) -> tuple[Built, Question, Witness]:
    built = build(model)
    question = ask(built.system, built.requirements[id_])
    explored = catalogue()["reference"]().explore(question.system, question.violations)
    witness = explored.answers[0].witness
    assert witness is not None
    return built, question, witness


def test_a_true_violation_is_replayed_with_what_happened(tmp_path: Path) -> None:
    run = replay(*violated(gate(tmp_path, LYING), "R1"))
    moves = [happening.move for happening in run.happenings]
    assert moves[-2:] == ["button to FALSE", "scan"]
    assert any(c.name == "gate" and c.after == "BETWEEN" for h in run.happenings for c in h.changes)
    last_scan = run.happenings[-1].scan
    assert last_scan is not None
    assert {decision.name for decision in last_scan.decided} >= {"lamp"}


def test_a_wrong_state_is_named_with_both_sides(tmp_path: Path) -> None:
    built, question, witness = violated(gate(tmp_path, LYING), "R1")
    place = question.system.index["gate"]
    step = witness.steps[3]
    state = list(step.state)
    state[place] = (state[place] + 1) % 3
    steps = (*witness.steps[:3], Step(step.move, tuple(state)), *witness.steps[4:])
    start = list(witness.initial)
    start[place] = (start[place] + 1) % 3
    with pytest.raises(InternalError, match=r"step 0: the engine says gate is .*, the replay says"):
        replay(built, question, replace(witness, initial=tuple(start)))
    with pytest.raises(InternalError, match=r"step 4: the engine says gate is .*, the replay says"):
        replay(built, question, replace(witness, steps=steps))


def test_a_move_that_its_guard_forbids_is_refused(tmp_path: Path) -> None:
    built, question, witness = violated(gate(tmp_path, LYING), "R1")
    first = Step("scan", witness.steps[0].state)
    forbidden = Step("gate: SHUT to BETWEEN", witness.steps[1].state)
    with pytest.raises(InternalError, match="guard does not hold"):
        replay(built, question, replace(witness, steps=(first, forbidden)))


def test_a_run_that_satisfies_the_requirement_is_no_violation(tmp_path: Path) -> None:
    built, question, witness = violated(gate(tmp_path, LYING), "R1")
    with pytest.raises(InternalError, match="the replay finds that it holds"):
        replay(built, question, replace(witness, steps=witness.steps[:-1]))


def test_an_unfair_loop_is_refused(tmp_path: Path) -> None:
    model = gate(tmp_path)
    built = build(model)
    question = ask(built.system, built.requirements["R2"])
    player = Player(model)
    moves = ["scan", "button to TRUE", "scan", "gate: SHUT to BETWEEN", "scan"]
    moves += ["gate: BETWEEN to OPEN", "scan", "button to FALSE", "scan", "scan"]
    steps = []
    for move in moves:
        player.play(move)
        values = player.state()
        steps.append(Step(move, tuple(values[v.name] for v in question.system.variables)))
    # Standing at the open gate for ever owes the fall of the gate.
    endless = Witness(question.system.initial, tuple(steps), loop_start=len(steps) - 1)
    with pytest.raises(InternalError, match="not fair, it owes gate: OPEN to SHUT"):
        replay(built, question, endless)


TIMED_MODEL = """\
title: A lamp behind a timer
controller: controller.st
plant: {door: {states: [shut, open], moves: [{from: shut, to: open, by: operator}]}}
sensors: {shut: {reads: door = shut}}
outputs: {lamp: {lamp: red}}
requirements: {R1: {says: The lamp comes on, exists: lamp}}
"""
TIMED_PROGRAM = """\
PROGRAM P
VAR_INPUT shut : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR t : TON; END_VAR
t(IN := shut, PT := T#1s, Q => lamp);
END_PROGRAM
"""


def test_a_loop_owes_the_end_of_a_timer_that_runs_all_through_it(tmp_path: Path) -> None:
    model = load(write_model(tmp_path / "timed", TIMED_MODEL, TIMED_PROGRAM))
    assert owed_by_loop(model, ["scan", "scan"], 1) == ["t elapses"]
    assert owed_by_loop(model, ["scan", "t elapses", "scan", "scan"], 3) == []
    # It does not run before the first scan, nor once the door is open.
    assert owed_by_loop(model, ["scan"], 0) == []
    assert owed_by_loop(model, ["scan", "door: shut to open", "scan", "scan"], 3) == []


def test_a_trap_with_a_way_out_is_refused(tmp_path: Path) -> None:
    built = build(gate(tmp_path))
    question = ask(built.system, built.requirements["R4"])
    gate_open = built.lower(built.model.statements["R2"].p)
    witness = (
        catalogue()["reference"]().explore(question.system, [Reach(gate_open)]).answers[0].witness
    )
    assert witness is not None
    with pytest.raises(InternalError, match="can be reached from the end of the run"):
        replay(built, question, witness)


def test_behind_a_trap_all_states_are_looked_at_up_to_a_limit(tmp_path: Path) -> None:
    held = ("to: SHUT, when: NOT drive", "to: SHUT, when: drive AND NOT drive")
    built, question, witness = violated(gate(tmp_path, held), "R4")
    stepper = Stepper(question.system)
    behind, queue = {witness.last}, [witness.last]
    for state in queue:
        new = {successor for _, successor in stepper.successors(state)} - behind
        behind |= new
        queue += new
    assert replay(built, question, witness, trap_limit=len(behind)).note == ""
    cut = replay(built, question, witness, trap_limit=len(behind) - 1).note
    assert cut == (
        f"the replay looked at {len(behind) - 1:,} states behind it and found no way back"
    )


def test_what_is_behind_a_run_is_kept_for_the_next_goal_and_hides_no_way_out(
    tmp_path: Path,
) -> None:
    held = ("to: SHUT, when: NOT drive", "to: SHUT, when: drive AND NOT drive")
    built, question, witness = violated(gate(tmp_path, held), "R4")
    behind: dict[tuple[str, ...], Behind] = {}
    alone = replay(built, question, witness)
    assert replay(built, question, witness, behind=behind) == alone
    assert list(behind) == [tuple(step.move for step in witness.steps)]
    assert replay(built, question, witness, behind=behind) == alone
    # Another goal, which can be reached from there, is found among what is known.
    statement = replace(built.model.statements["R4"], p=built.model.statements["R2"].p)
    statements = {**built.model.statements, "R4": statement}
    other = replace(built, model=replace(built.model, statements=statements))
    with pytest.raises(InternalError, match="can be reached from"):
        replay(other, question, witness, behind=behind)


def test_a_goal_counts_only_where_it_is_judged(tmp_path: Path) -> None:
    """The lamp is dark before the first scan and never after one."""
    dark = ("can_still: gate = SHUT", "can_still: NOT lamp, judged: after scan")
    lit = ("lamp := shut AND NOT drive", "lamp := TRUE")
    assert replay(*violated(gate(tmp_path, dark, lit), "R4")).note == ""


@pytest.mark.parametrize("fault", ["F1", "F2", "F3", "F4", "F5"])
def test_every_fault_kind_means_the_same_to_judge_and_engine(tmp_path: Path, fault: str) -> None:
    """Every state that can be reached with one fault is reached by the player on the same run."""
    model = gate(tmp_path)
    built = build(model, RunClass((fault,), 1))
    stepper = Stepper(built.system)
    seen: dict[tuple[int, ...], tuple[str, ...]] = {built.system.initial: ()}
    queue = [built.system.initial]
    for state in queue:
        for move, successor in stepper.successors(state):
            if successor not in seen:
                seen[successor] = (*seen[state], move.name)
                queue.append(successor)
    assert any("strikes" in move for run in seen.values() for move in run)
    for state, run in seen.items():
        player = Player(model)
        for move in run:
            player.play(move)
        values = player.state()
        assert tuple(values[v.name] for v in built.system.variables) == state
        enabled = {m.name for m in stepper.enabled(state) if m.name in player._moves}
        assert enabled == {name for name in player._moves if player.enabled(name)}


# Each scan counts one further, until the scan from n = 3 leaves the range.
COUNTING = ("drive := pressed;", "drive := pressed; n := n + 1;")
COUNTED = ("END_VAR\ndrive", "END_VAR VAR n : INT(0..3); END_VAR\ndrive")


def test_a_scan_that_leaves_a_range_is_a_violation_only_where_it_comes_next(
    tmp_path: Path,
) -> None:
    built, question, witness = violated(gate(tmp_path, COUNTED, COUNTING), ARITHMETIC)
    replayed = replay(built, question, witness)
    assert [h.move for h in replayed.happenings] == ["scan"] * 3
    # The same words as of the assignment itself, written by hand here.
    assert re.fullmatch(
        r"the next scan: \w+\.st:\d+: 'n' is assigned a value outside 0\.\.3", replayed.note
    )
    early = replace(witness, steps=witness.steps[:-1])
    with pytest.raises(InternalError, match="leaves a range, the replay that it does not"):
        replay(built, question, early)


def test_a_requirement_that_the_model_does_not_state_is_refused(tmp_path: Path) -> None:
    built, question, witness = violated(gate(tmp_path, COUNTED, COUNTING), ARITHMETIC)
    unknown = replace(question, requirement=replace(question.requirement, id="R9"))
    with pytest.raises(InternalError, match="R9: the model states no such requirement"):
        replay(built, unknown, witness)


def test_only_states_after_a_scan_are_judged_and_the_loop_starts_at_the_first_of_them(
    tmp_path: Path,
) -> None:
    statements = gate(tmp_path).statements
    words = [(after, {"p": n == 2}) for n, after in enumerate([True, False, True, False, True])]
    scans = [words[n][1] for n in (0, 2, 4)]
    starts = {loop: judged_word(statements["R1"], words, loop) for loop in range(5)}
    assert starts == {
        0: (scans, 0),
        1: (scans, 1),
        2: (scans, 1),
        3: (scans, 2),
        4: (scans, 2),
    }
    # Without a scan in the loop the last judged state lasts.
    assert judged_word(statements["R1"], [*words, (False, {"p": True})], 5) == (scans, 2)
    everywhere = [valuation for _, valuation in words]
    assert judged_word(statements["R2"], words, 3) == (everywhere, 3)


def test_an_endless_run_is_judged_by_the_states_that_it_repeats(tmp_path: Path) -> None:
    # Whoever holds the button keeps the gate open for ever; whoever lets go does not.
    model = gate(tmp_path, ("leads_to: gate = SHUT OR button", "leads_to: gate = SHUT"))
    built, question, witness = violated(model, "R2")
    assert witness.loop_start is not None
    assert replay(built, question, witness).loop_start == witness.loop_start
    player = Player(model)
    moves = ["scan", "button to TRUE", "scan", "gate: SHUT to BETWEEN", "scan"]
    moves += ["gate: BETWEEN to OPEN", "scan", "button to FALSE", "scan", "gate: OPEN to SHUT"]
    moves += ["scan", "scan"]
    states = []
    for move in moves:
        player.play(move)
        values = player.state()
        states.append(tuple(values[v.name] for v in question.system.variables))
    steps = tuple(map(Step, moves, states))
    shut_again = Witness(question.system.initial, steps, loop_start=len(steps) - 1)
    with pytest.raises(InternalError, match="the replay finds that it holds on the run"):
        replay(built, question, shut_again)


TWO_FAULTS = {
    "F8": "F8: {says: shorted, sensor: shut, stuck: 'FALSE'}",
    "F9": "F9: {says: welded, sensor: shut, stuck: 'TRUE'}",
    "F6": "F6: {says: cut, output: drive, stuck: 'FALSE'}",
    "F7": "F7: {says: shorted, output: drive, stuck: 'TRUE'}",
}


@pytest.mark.parametrize(
    ("first", "last", "value"), [("F8", "F9", 1), ("F9", "F8", 0), ("F6", "F7", 1), ("F7", "F6", 0)]
)
def test_of_two_faults_on_one_signal_the_one_declared_last_decides(
    tmp_path: Path, first: str, last: str, value: int
) -> None:
    declared = f"  {TWO_FAULTS[first]}\n  {TWO_FAULTS[last]}\nrequirements:"
    model = gate(tmp_path, ("requirements:", declared))
    built = build(model, RunClass((first, last), 2))
    stepper = Stepper(built.system)
    for order in ((first, last), (last, first)):
        player, state = Player(model), built.system.initial
        for fault in order:
            player.play(f"{fault} strikes")
            strike = f"{fault} strikes"
            state = next(s for m, s in stepper.successors(state) if m.name == strike)
        reads = built.signals["shut"] if first in ("F8", "F9") else built.truth["drive"]
        seen = player.signals()["shut"] if first in ("F8", "F9") else player.outputs()["drive"]
        assert seen == evaluate(reads, built.system.named(state)) == value
