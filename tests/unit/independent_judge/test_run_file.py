"""Run files: written, read and replayed on the independent machine."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from interlock.base.errors import InputError
from interlock.independent_judge.run_file import (
    is_refuted,
    parse_run,
    read_run,
    record,
    replay_file,
    to_text,
    write_run,
)
from interlock.kernel.requirement import Pattern, ScopeKind
from interlock.model.build import ARITHMETIC
from interlock.model.load import load
from tests.support.gate import gate, written
from tests.support.models import MODELS, shipped, verified

START = ["scan", "panel to START", "scan", "panel to LOWER", "scan", "pin: in to out", "scan"]


def changed(**given: Any) -> str:
    """A run file of the ramp with some entries changed."""
    run = json.loads(to_text(record(shipped("ramp"), START)))
    return json.dumps({**run, **given}, indent=1)


def refusal(text: str) -> str:
    """What reading and replaying the text on the ramp is refused with."""
    with pytest.raises(InputError) as error:
        replay_file(shipped("ramp"), parse_run(text, "run.json"))
    return str(error.value)


def test_a_written_run_is_read_and_replayed_as_it_was(tmp_path: Path) -> None:
    run = record(shipped("ramp"), START, says='the "pin" is pulled')
    write_run(tmp_path / "run.json", run)
    again = read_run(tmp_path / "run.json")
    assert again == run
    assert to_text(again) == to_text(run)
    played = replay_file(shipped("ramp"), again)
    assert [happening.move for happening in played.happenings] == START
    assert played.violates == ()
    assert played.notes == ()
    assert run.ends["pin"] == "out"


@pytest.mark.parametrize("name", ["pin-alone", "lost-bracket", "seal-in-survives-stop"])
def test_every_witness_of_verify_is_a_run_file_that_violates_the_same(name: str) -> None:
    model = shipped(f"ramp-broken/{name}")
    runs = 0
    for finding in verified(model, "enumerate").findings:
        if finding.run is None:
            continue
        moves = [happening.move for happening in finding.run.happenings]
        run = record(model, moves, finding.run.loop_start)
        again = parse_run(to_text(run), "run.json")
        assert again == run
        assert finding.requirement.id in again.violates
        assert finding.requirement.id in replay_file(model, again).violates
        runs += 1
    assert runs > 0


def test_a_loop_of_scans_in_which_nothing_is_owed_violates_nothing() -> None:
    run = record(shipped("ramp"), ["scan", "scan"], loop_start=1)
    assert replay_file(shipped("ramp"), run).violates == ()


def test_tabs_between_the_values_of_a_file_do_no_harm() -> None:
    text = changed().replace("\n ", "\n\t")
    assert replay_file(shipped("ramp"), parse_run(text, "run.json")).violates == ()


def test_a_refused_move_is_told_with_its_place_and_the_false_part_of_its_guard() -> None:
    text = changed(moves=[*START[:5], "ramp: stowed to between"])
    line = 1 + text[: text.index('"ramp: stowed')].count("\n")
    said = refusal(text)
    assert said.startswith(f"run.json:{line}:3: move 6: 'ramp: stowed to between' is not possible")
    assert "lowering is FALSE and pin = out is FALSE" in said
    model = (MODELS / "ramp" / "model.yaml").read_text("utf-8")
    written = 1 + model[: model.index("{from: stowed, to: between")].count("\n")
    assert f"model.yaml:{written})" in said


@pytest.mark.parametrize(
    ("moves", "says"),
    [
        (["scan", "panel to STRAT"], "move 2: 'panel to STRAT' is not a move; did you mean"),
        (["panel to START"], "move 1: 'panel to START' is not possible before the next scan"),
        (["scan", "panel to NONE"], "move 2: 'panel to NONE' is not possible: panel is NONE"),
        (["scan", "ramp: lowered to between"], "ramp is stowed, not lowered"),
        (["scan", "vehicle: driving to parked"], "vehicle is parked, not driving"),
    ],
)
def test_a_move_that_is_not_possible_is_told_with_the_reason(moves: list[str], says: str) -> None:
    text = changed(moves=moves)
    assert says in refusal(text)


@pytest.mark.parametrize(
    ("given", "says"),
    [
        ({"violates": ["R1"]}, "the run does not violate R1"),
        ({"violates": ["R99"]}, "'R99' is not a requirement"),
        ({"ends": {"pin": "in"}}, "pin is out at the end of the run, not in"),
        ({"ends": {"pim": "in"}}, "'pim' is neither a machine nor an output; did you mean 'pin'"),
        ({"loop_start": 3}, "the loop does not close: "),
        ({"loop_start": 99}, "the run has 7 moves; a loop cannot start later"),
        ({"interlock_run": 2}, "expected '1', not '2'"),
        ({"moves": "scan"}, "expected a list, not 'scan'"),
        ({"colour": "green"}, "'colour' is not known here"),
    ],
)
def test_a_claim_that_is_not_so_is_one_line_with_its_place(
    given: dict[str, object], says: str
) -> None:
    said = refusal(changed(**given))
    assert said.startswith("run.json:")
    assert says in said
    assert "\n" not in said


def test_a_loop_that_leaves_out_what_must_happen_is_refused() -> None:
    held = [*START, "ramp: stowed to between", "scan", "stop to TRUE", "scan", "stop to FALSE"]
    text = changed(moves=[*held, "scan", "scan"], loop_start=len(held) + 1, ends={})
    assert "such a loop does not happen: 'pin: out to in' stays possible" in refusal(text)


def test_text_that_is_no_json_is_refused_with_line_and_column() -> None:
    assert refusal('{"interlock_run": 1,\n "moves" []}') == (
        "run.json:2:10: not valid JSON: expecting ':' delimiter"
    )
    assert "not valid JSON" in refusal("[" * 100_000)


def test_a_run_that_cannot_settle_a_claim_says_so() -> None:
    played = replay_file(shipped("ramp"), parse_run(changed(violates=["R8"]), "run.json"))
    assert played.notes == ("R8 speaks of every way on from a state; one run cannot settle it",)


def test_files_changed_since_are_named_and_the_run_is_replayed_all_the_same() -> None:
    model = shipped("ramp-broken/pin-alone")
    played = replay_file(model, parse_run(changed(ends={}), "run.json"))
    assert "the run was saved of the model 'ramp'" in played.notes
    assert any(
        note.startswith("changed since") and "controller.st" in note for note in played.notes
    )


# The patterns of Dwyer, Avrunin and Corbett (ICSE 1999): which of them a finite run can refute.
STATE = {"p": False, "s": False, "q": False, "r": False}


@pytest.mark.parametrize(
    ("pattern", "scope", "word", "refuted"),
    [
        (Pattern.NEVER, ScopeKind.GLOBALLY, [{"p": True}], True),
        (Pattern.NEVER, ScopeKind.BETWEEN, [{"q": True}, {"p": True}], False),
        (Pattern.NEVER, ScopeKind.BETWEEN, [{"q": True}, {"p": True}, {"r": True}], True),
        (Pattern.EXISTS, ScopeKind.GLOBALLY, [{}, {}], False),
        (Pattern.EXISTS, ScopeKind.BEFORE, [{}, {"r": True}], True),
        (Pattern.LEADS_TO, ScopeKind.GLOBALLY, [{"p": True}], False),
        (Pattern.LEADS_TO, ScopeKind.AFTER_UNTIL, [{"q": True, "p": True}, {"r": True}], True),
        (Pattern.ONLY_AFTER, ScopeKind.GLOBALLY, [{"p": True}], True),
        (Pattern.ONLY_AFTER, ScopeKind.GLOBALLY, [{"s": True}, {"p": True}], False),
    ],
)
def test_a_finite_run_refutes_only_what_no_going_on_can_mend(
    pattern: Pattern, scope: ScopeKind, word: list[dict[str, bool]], refuted: bool
) -> None:
    assert is_refuted(pattern, scope, [{**STATE, **state} for state in word]) is refuted


# A response within N scans comes before or in the state that the Nth scan after P leads to.
@pytest.mark.parametrize(
    ("word", "refuted"),
    [
        ([{"p": True}, {"scan": True}, {"scan": True}], True),
        ([{"p": True}, {"scan": True}], True),
        ([{"p": True}, {"scan": True, "s": True}, {"scan": True}], False),
        ([{"p": True}, {}], False),
    ],
)
def test_a_bounded_response_is_refuted_when_its_bound_has_passed(
    word: list[dict[str, bool]], refuted: bool
) -> None:
    states = [{**STATE, "scan": False, **state} for state in word]
    assert is_refuted(Pattern.LEADS_TO, ScopeKind.GLOBALLY, states, within=1) is refuted


UNREAD = """
title: A lamp that is never lit, and a timer that nobody asks
controller: controller.st
run: {scan_ms: 100, timers: counted}
plant: {door: {states: [shut, open], by: operator, moves: [{from: shut, to: open}]}}
sensors: {door_open: {reads: door = open}}
outputs: {lamp: {lamp: red}}
requirements: {T1: {says: an open door is told, whenever: door = open, leads_to: lamp}}
"""
UNREAD_ST = """PROGRAM Unread
VAR_INPUT door_open : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
VAR waiting : TON; END_VAR
waiting(IN := door_open, PT := T#5s);
lamp := FALSE;
END_PROGRAM
"""


def test_a_loop_closes_whatever_becomes_of_what_nothing_reads(tmp_path: Path) -> None:
    """The timer counts on in the loop that an engine finds; no state is another by that."""
    model = load(written(tmp_path, UNREAD, UNREAD_ST))
    (finding,) = [f for f in verified(model).findings if f.requirement.id == "T1"]
    witness = finding.verdict.witness
    assert witness is not None
    moves = [step.move for step in witness.steps]
    run = record(model, moves, witness.loop_start)
    assert replay_file(model, run).violates == ("T1",)
    with pytest.raises(InputError, match="the loop does not close: door is another at its end"):
        replay_file(model, replace(run, loop_start=0))


@pytest.mark.parametrize(("n_scans", "violated"), [(2, ()), (3, (ARITHMETIC,)), (4, (ARITHMETIC,))])
def test_a_run_violates_arithmetic_from_the_state_on_whose_next_scan_leaves_a_range(
    tmp_path: Path, n_scans: int, violated: tuple[str, ...]
) -> None:
    # Each scan counts one further: after three the next one leaves 0..3.
    model = gate(
        tmp_path,
        ("END_VAR\ndrive", "END_VAR VAR n : INT(0..3); END_VAR\ndrive"),
        ("drive := pressed;", "drive := pressed; n := n + 1;"),
    )
    run = record(model, ["scan"] * n_scans)
    assert run.violates == violated
    assert replay_file(model, run).violates == violated
