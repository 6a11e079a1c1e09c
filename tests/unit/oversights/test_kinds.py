"""Each kind of oversight: a model that has it, the same one mended, and one that only looks so."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.engines import catalogue
from interlock.kernel.query import Limits
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.oversights.found import Kind, Looked
from interlock.oversights.study import look, look_at_text, questions_for
from tests.support.latch import FAULTS, latch

Changes = list[tuple[str, str]]
NO_FAULTS = (FAULTS, "")
ONE_BY_ONE = ("plant:\n", "run: {between_scans: one in all}\nplant:\n")
OPENS = "{from: SHUT, to: OPEN, when: latch = OUT}"
SHUTS = "{from: OPEN, to: SHUT}"
STATES = "states: [IN, OUT]"
SINKS = "{from: OUT, to: IN, when: NOT pull}"
R3 = "when: NOT button, always: NOT pull, judged: after scan}"
R3_KEY = "  R3: {says: Nothing is pulled by itself, "
VARS = "VAR seen : BOOL;"
LAMP = "lamp := latch_in;"
F2 = "F2: {says: switch open, sensor: latch_in, stuck: 'FALSE'}"
WHATEVER = "whatever the program does and whatever fails"

# What makes a model that has it, its kind, and what is said of it.
RED: dict[str, tuple[Changes, Kind, str]] = {
    "a move whose guard is met in no state at all": (
        [
            (OPENS, "{from: SHUT, to: OPEN, when: pull AND lamp AND latch = OUT}"),
            NO_FAULTS,
            ONE_BY_ONE,
        ],
        Kind.MOVE_NEVER,
        "model.yaml:14:38: the move 'lid: SHUT to OPEN' is never possible, in anything reachable",
    ),
    "a move whose guard no fault meets either": (
        [(SHUTS, "{from: OPEN, to: SHUT, when: pull AND NOT button}"), ONE_BY_ONE],
        Kind.MOVE_NEVER,
        "model.yaml:15:38: the move 'lid: OPEN to SHUT' is never possible, in anything reachable, "
        "with any faults and human errors",
    ),
    "a state that no move leads to": (
        [(STATES, "states: [IN, OUT, LOST]")],
        Kind.STATE_NEVER,
        f"model.yaml:5:23: 'latch' is never LOST, {WHATEVER}",
    ),
    "a state that only moves from itself lead to": (
        [(STATES, "states: [IN, OUT, LOST]"), (SINKS, SINKS + "\n      - {from: LOST, to: IN}")],
        Kind.STATE_NEVER,
        f"model.yaml:5:23: 'latch' is never LOST, {WHATEVER}",
    ),
    "a sensor of what never happens": (
        [(STATES, "states: [IN, OUT, LOST]"), ("reads: latch = IN", "reads: latch = LOST")],
        Kind.SENSOR_STILL,
        f"model.yaml:21:3: what the sensor 'latch_in' reads never changes, {WHATEVER}",
    ),
    "a sensor with the name of a machine that never leaves its first state": (
        [
            ("latch_in", "latch"),
            (STATES, STATES + "\n    initial: OUT"),
            ("when: NOT pull", "when: latch = IN"),
        ],
        Kind.SENSOR_STILL,
        f"model.yaml:22:3: what the sensor 'latch' reads never changes, {WHATEVER}",
    ),
    "two moves with guards that mean the same": (
        [(SINKS, SINKS + "\n      - {from: OUT, to: IN, when: NOT (pull OR pull)}")],
        Kind.MOVES_ALIKE,
        "model.yaml:9:9: the move 'latch: OUT to IN (2)' is the same as 'latch: OUT to IN' "
        "in line 8",
    ),
    "a move that ends where it starts": (
        [(SHUTS, "{from: [OPEN, SHUT], to: SHUT}")],
        Kind.MOVE_IDLE,
        "model.yaml:14:9: the move 'lid: SHUT to SHUT' ends where it starts and changes nothing",
    ),
    "a guard that contradicts itself": (
        [(OPENS, "{from: SHUT, to: OPEN, when: pull AND NOT (pull OR button)}")],
        Kind.GUARD_FALSE,
        "model.yaml:13:38: the guard 'pull AND NOT (pull OR button)' contradicts itself: it is "
        "false in every state",
    ),
    "a guard that contradicts the move's source": (
        [(OPENS, "{from: SHUT, to: OPEN, when: secured AND latch = OUT OR lid = OPEN}")],
        Kind.GUARD_FALSE,
        "model.yaml:13:38: the guard 'secured AND latch = OUT OR lid = OPEN' is false wherever "
        "the move 'lid: SHUT to OPEN' could start",
    ),
    "two faults with one effect": (
        [(F2, F2 + "\n  F3: {says: wire torn, sensor: latch_in, stuck: 'FALSE'}")],
        Kind.FAULTS_ALIKE,
        "model.yaml:25:3: F3 has the same effect as F2 in line 24: 'latch_in' stuck at FALSE",
    ),
    "nothing that could be forbidden": (
        [(R3, "never: button AND NOT (button OR pull)}")],
        Kind.KEPT_BY_WORDS,
        "model.yaml:28:3: R3 holds whatever happens: what it forbids can never be true",
    ),
    "a demand that is always met": (
        [(R3, "always: latch = IN OR latch = OUT}")],
        Kind.KEPT_BY_WORDS,
        "model.yaml:28:3: R3 holds whatever happens: what it demands is always true",
    ),
    "a premise that contradicts itself": (
        [(R3, "when: button AND NOT button, always: NOT pull}")],
        Kind.KEPT_BY_WORDS,
        "model.yaml:28:3: R3 holds whatever happens: its 'when' can never be true",
    ),
    "a response that is there already": (
        [(R3, "whenever: secured AND button, leads_to: lid = SHUT}")],
        Kind.KEPT_BY_WORDS,
        "model.yaml:28:3: R3 holds whatever happens: 'leads_to' is true wherever 'whenever' is",
    ),
    "an event that brings its own condition": (
        [(R3, "event: pull AND secured, only_after: latch = IN}")],
        Kind.KEPT_BY_WORDS,
        "model.yaml:28:3: R3 holds whatever happens: 'only_after' is true wherever 'event' is",
    ),
    "a scope that never opens": (
        [(R3, "never: pull, scope: {from: button, until: button OR pull}}")],
        Kind.KEPT_BY_WORDS,
        "model.yaml:28:3: R3 holds whatever happens: its scope can never open",
    ),
    "a scope that never closes and counts only closed": (
        [(R3, "never: pull, scope: {between: button, and: pull AND NOT pull}}")],
        Kind.KEPT_BY_WORDS,
        "model.yaml:28:3: R3 holds whatever happens: its scope can never close, and counts only "
        "where it does",
    ),
    "a sensor that nothing reads": (
        [(LAMP, "lamp := seen;")],
        Kind.SENSOR_UNREAD,
        "model.yaml:21:3: nothing reads the sensor 'latch_in', neither the program nor a "
        "requirement",
    ),
    "an input that only a requirement reads": (
        [(LAMP, "lamp := seen;"), (R3, "never: latch_in AND NOT pull, about: signals}")],
        Kind.INPUT_UNREAD,
        "controller.st:2:20: the program never reads its input 'latch_in'; only R3 asks for it",
    ),
    "a variable that is never used": (
        [(VARS, "VAR seen, spare : BOOL;")],
        Kind.VARIABLE_UNREAD,
        "controller.st:4:11: the variable 'spare' is never used",
    ),
    "a variable that is written but never read": (
        [("AND seen;", ";")],
        Kind.VARIABLE_UNREAD,
        "controller.st:4:5: the variable 'seen' is written but never read",
    ),
    "a variable that is read and never written": (
        [("seen := wait.Q;\n", "lamp := wait.Q;\n"), (LAMP, "")],
        Kind.VARIABLE_UNWRITTEN,
        "controller.st:4:5: the variable 'seen' is never written; it stays FALSE",
    ),
    "an output that nothing writes": (
        [(LAMP, "seen := seen OR latch_in;")],
        Kind.OUTPUT_UNWRITTEN,
        "controller.st:3:18: the output 'lamp' is never written; it stays FALSE",
    ),
    "an output written twice": (
        [(LAMP, LAMP + "\nlamp := seen;")],
        Kind.OUTPUT_TWICE,
        "controller.st:8:1: the output 'lamp' is written here and, whatever happens, once more in "
        "line 9 of the same scan",
    ),
    "an output written twice, once by a block": (
        [(LAMP, LAMP + "\nwait(IN := pressed, PT := T#1s, Q => lamp);")],
        Kind.OUTPUT_TWICE,
        "controller.st:8:1: the output 'lamp' is written here and, whatever happens, once more in "
        "line 9 of the same scan",
    ),
    "a block that is declared and forgotten": (
        [(VARS, "VAR edge : R_TRIG; seen : BOOL;")],
        Kind.BLOCK_UNUSED,
        "controller.st:4:5: the R_TRIG 'edge' is neither called nor read",
    ),
    "a block that is called for nothing": (
        [("wait.Q", "pressed")],
        Kind.BLOCK_UNUSED,
        "controller.st:4:18: the TON 'wait' is called, but nothing reads its outputs",
    ),
    "a block that is read but never called": (
        [("wait(IN := pressed, PT := T#1s);\n", "")],
        Kind.BLOCK_UNCALLED,
        "controller.st:4:18: the TON 'wait' is read but never called; its outputs never change",
    ),
}

# What looks much like it, and is not.
SILENT: dict[str, Changes] = {
    "the latch as it is": [],
    "a number that only a statement reads that is left out": [
        (VARS, "VAR seen : BOOL; n : INT (0..1); line : STRING;"),
        (LAMP, LAMP + " n := BOOL_TO_INT(seen); IF seen THEN line := INT_TO_STRING(n); END_IF;"),
    ],
    "a member that nothing reads of a structure that was copied as a whole": [
        ("PROGRAM Latch", "TYPE Both : STRUCT a, b : BOOL; END_STRUCT; END_TYPE\nPROGRAM Latch"),
        (VARS, "VAR seen : BOOL; given, kept : Both;"),
        (LAMP, "given.a := latch_in; given.b := pressed; kept := given; lamp := kept.a;"),
    ],
    "an output of a block that is read of another instance of it": [
        (
            "PROGRAM Latch",
            "FUNCTION_BLOCK Each VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT on, off : BOOL; END_VAR\n"
            "on := a; off := NOT a; END_FUNCTION_BLOCK\nPROGRAM Latch",
        ),
        (VARS, "VAR seen : BOOL; one, other : Each;"),
        (LAMP, "one(a := latch_in); other(a := pressed); lamp := one.on AND other.on OR one.off;"),
    ],
    "a move that a fault makes possible": [
        (OPENS, "{from: SHUT, to: OPEN, when: pull AND lamp AND latch = OUT}")
    ],
    "a state that only a fault leads to": [
        (STATES, "states: [IN, OUT, LOST]"),
        (SINKS, SINKS + "\n      - {from: OUT, to: LOST, when: F1}"),
    ],
    "a state and a sensor that only a human error leads to": [
        (STATES, "states: [IN, OUT, LOST]"),
        (SINKS, SINKS + "\n      - {from: OUT, to: LOST, by: human}"),
        ("reads: latch = IN", "reads: latch = LOST"),
    ],
    "a state that another machine's move leads to": [
        (STATES, "states: [IN, OUT, LOST]"),
        (SHUTS, "{from: OPEN, to: SHUT, also: {latch: LOST}}"),
    ],
    "a constant sensor that a fault changes": [("reads: latch = IN", "reads: 'TRUE'")],
    "two moves between the same states with different guards": [
        (SINKS, SINKS + "\n      - {from: OUT, to: IN, when: NOT button}")
    ],
    "two moves alike, one of them by error": [
        (SHUTS, SHUTS + "\n      - {from: OPEN, to: SHUT, by: human}")
    ],
    "two moves alike that carry different things": [
        (SHUTS, SHUTS + "\n      - {from: OPEN, to: SHUT, also: {latch: OUT}}")
    ],
    "a move in place that carries another machine": [
        (SHUTS, SHUTS + "\n      - {from: OPEN, to: OPEN, also: {latch: OUT}}")
    ],
    "a guard that is false in some states": [
        (OPENS, "{from: SHUT, to: OPEN, when: latch = OUT AND lid = SHUT}")
    ],
    "one sensor stuck both ways": [],
    "two faults with one effect of which one may clear": [
        (F2, F2 + "\n  F3: {says: loose, sensor: latch_in, stuck: 'FALSE', intermittent: true}")
    ],
    "two faults with one effect, of which one acts elsewhere": [
        (F2, F2 + "\n  F3: {says: torn out, sensor: latch_in, stuck: 'FALSE'}"),
        (SINKS, "{from: OUT, to: IN, when: NOT pull OR F3}"),
    ],
    "two faults with one effect, one of them excluded": [
        (F2, F2 + "\n  F3: {says: torn, sensor: latch_in, stuck: 'FALSE', excluded: conduit}")
    ],
    "a response that is mostly there": [
        (R3, "whenever: secured, leads_to: lid = SHUT AND NOT pull OR button}")
    ],
    "what must exist before something that may be there at power-up": [
        (R3, "exists: button OR NOT button, scope: {before: lid = SHUT}}")
    ],
    "a scope that need not close": [
        (R3, "never: pull AND NOT pull OR lid = OPEN AND pull, "
             "scope: {from: NOT button, until: 'FALSE'}}")
    ],
    "a signal and its truth, which may differ": [
        (R3, "never: latch_in AND latch = OUT, about: signals}")
    ],
    "a variable inside that only a requirement reads": [
        ("AND seen;", ";"),
        (R3, "never: Latch.seen AND NOT Latch.seen OR lid = OPEN AND Latch.seen}"),
    ],
    "a variable with a value from the first, which nothing changes": [
        (VARS, "VAR seen, on : BOOL; may : BOOL := TRUE;"),
        ("pull := pressed", "on := may; pull := on AND pressed"),
    ],
    "an output that is computed in steps": [(LAMP, LAMP + "\nlamp := lamp AND seen;")],
    "an output that a branch overrides": [(LAMP, LAMP + "\nIF seen THEN lamp := TRUE; END_IF;")],
    "an output written in both branches": [
        (LAMP, "IF latch_in THEN lamp := TRUE; ELSE lamp := FALSE; END_IF;")
    ],
    "a variable written twice": [("seen := wait.Q;", "seen := pressed;\nseen := wait.Q;")],
    "a block whose output is taken in the call": [
        ("T#1s);\nseen := wait.Q;", "T#1s, Q => seen);")
    ],
    "what is read only as a selector or in a branch": [
        (LAMP, "IF latch_in THEN lamp := TRUE; ELSE lamp := seen; END_IF;")
    ],
}  # fmt: skip


def found_in(model: Model, limits: Limits = Limits()) -> Looked:
    """What is worth a look, with the exploration that a verification makes."""
    engine = catalogue()["enumerate"]()
    explored = engine.explore(build(model).system, questions_for(model).queries, limits)
    return look(model, explored.answers, explored.limit, engine, limits)


def told(looked: Looked) -> list[tuple[str, Kind]]:
    """Each oversight with its place from the file's name on."""
    return [(str(one).rpartition("/")[2], one.kind) for one in looked.oversights]


@pytest.mark.parametrize("name", RED)
def test_an_oversight_is_told_at_its_place(name: str, tmp_path: Path) -> None:
    changes, kind, says = RED[name]
    assert (says, kind) in told(found_in(latch(tmp_path, *changes)))


@pytest.mark.parametrize("name", SILENT)
def test_what_only_looks_so_is_not_told(name: str, tmp_path: Path) -> None:
    looked = found_in(latch(tmp_path, *SILENT[name]))
    assert told(looked) == []
    assert looked.undecided == ()


def test_every_kind_is_tried() -> None:
    assert {kind for _, kind, _ in RED.values()} == set(Kind)


def test_they_are_sorted_by_place(tmp_path: Path) -> None:
    names = ("a variable that is never used", "two faults with one effect")
    changes = [RED[name][0] for name in names]
    looked = found_in(latch(tmp_path, *(one for some in changes for one in some)))
    places = [one.place for one in looked.oversights]
    assert len(places) == 2
    assert places == sorted(places)


def test_what_follows_from_an_unreached_state_is_not_told_again(tmp_path: Path) -> None:
    changes, _, _ = RED["a state that only moves from itself lead to"]
    assert len(found_in(latch(tmp_path, *changes)).oversights) == 1


def test_without_exploring_only_what_needs_none_is_told(tmp_path: Path) -> None:
    state = latch(tmp_path / "a", *RED["a state that no move leads to"][0])
    assert len(look_at_text(state).oversights) == 1
    move = latch(tmp_path / "b", *RED["a move whose guard is met in no state at all"][0])
    assert look_at_text(move).oversights == ()


def test_what_a_limit_leaves_open_is_undecided_and_no_oversight(tmp_path: Path) -> None:
    looked = found_in(latch(tmp_path, NO_FAULTS), Limits(max_states=2))
    assert looked.oversights == ()
    said = "not decided, the limit of states 2 was hit: whether these are ever reached: "
    assert any(line.startswith(said) for line in looked.undecided)
    assert any("'lid: SHUT to OPEN'" in line for line in looked.undecided)


def test_a_name_that_would_break_the_line_does_not(tmp_path: Path) -> None:
    named = '{from: OPEN, to: OPEN, name: "two\\nlines"}'
    looked = found_in(latch(tmp_path, (SHUTS, f"{SHUTS}\n      - {named}")))
    (one,) = looked.oversights
    assert one.says == "the move 'two?lines' ends where it starts and changes nothing"


def test_a_global_that_others_write_too_is_written_once_by_the_program(tmp_path: Path) -> None:
    (tmp_path / "p.st").write_text(
        "VAR_GLOBAL g : BOOL; END_VAR PROGRAM other VAR_INPUT z : BOOL; END_VAR g := z; "
        "END_PROGRAM PROGRAM m VAR_INPUT x : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        "q := g AND x; g := FALSE; END_PROGRAM"
    )
    (tmp_path / "model.yaml").write_text(
        "title: T\ncontroller: p.st\nroot: m\nrequirements:\n  R: {says: q, never: q}\n"
    )
    model = load(tmp_path)
    assert not [one.says for one in look_at_text(model).oversights if one.kind is Kind.OUTPUT_TWICE]
    assert model.project is not None
    says = "within the scan"
    assert any(says in note.says and "'g'" in note.says for note in model.project.notes)
