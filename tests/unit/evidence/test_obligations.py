"""Each obligation is needed: a certificate that is wrong in one way alone falls with that one.

The system has one variable ``n`` with the values 0 to 3, and starts at 0.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import replace

import pytest

from interlock.commands.recheck.solve import Result, discharge
from interlock.evidence.obligations import script
from interlock.evidence.script import Outline
from interlock.evidence.sets import read_sets, write_sets
from interlock.kernel import expr as ex
from interlock.kernel.certificate import (
    ALL,
    NONE,
    Case,
    Decision,
    Invariant,
    Ladder,
    Rung,
    Shrinking,
    StateSets,
)
from interlock.kernel.query import Reach, Stay, Trap
from interlock.kernel.system import BOOL, PHASE, Domain, Move, MoveKind, System, Variable
from tests.support.smtlib import Checker


def among(*values: int) -> ex.Expr:
    return ex.or_(*(ex.eq(ex.var("n"), ex.const(value)) for value in values))


def move(source: int, target: int, owed: bool = False) -> Move:
    fair = among(source) if owed else None
    name = f"{source} to {target}"
    return Move(name, MoveKind.PLANT, among(source), {"n": ex.const(target)}, fair)


def graph(sets: list[Collection[int]]) -> StateSets:
    """Sets of values of ``n``, by its two bits."""
    nodes: list[Decision] = []
    roots = []
    for members in sets:
        for upper in (0, 2):
            low, high = (ALL if upper + bit in members else NONE for bit in (0, 1))
            nodes.append(Decision("n", 0, low, high))
        nodes.append(Decision("n", 1, len(nodes), len(nodes) + 1))
        roots.append(len(nodes) + 1)
    return StateSets(tuple(nodes), tuple(roots))


def refuted(moves: list[Move], outline: Outline, sets: list[Collection[int]]) -> list[str]:
    """What the solver refutes; everything else it shows."""
    # A move that is never possible, so that there are some.
    system = System((Variable("n", Domain(0, 3), 0),), (*moves, move(3, 3)))
    return refuted_of(system, outline, sets)


def refuted_of(system: System, outline: Outline, sets: list[Collection[int]]) -> list[str]:
    text = "\n".join(write_sets(system, graph(sets)))
    asked = script(system, outline, text, read_sets(text, system, len(sets)))
    Checker().run(asked.text)
    results = {done.obligation: done.result for done in discharge(asked)}
    assert set(results.values()) <= {Result.DISCHARGED, Result.REFUTED}
    return [o.name for o, result in results.items() if result is Result.REFUTED]


INVARIANTS = {
    "initially: the invariant holds": ([], Outline(), [{1}]),
    "the invariant is kept by: 0 to 1": ([move(0, 1)], Outline(), [{0}]),
    "the invariant implies R.1": ([], Outline(reaches={"R.1": Reach(among(0))}), [{0}]),
}
FROM_0, IN_0, IN_01 = Stay(among(0), ex.TRUE), Stay(ex.TRUE, among(0)), Stay(ex.TRUE, among(0, 1))
OUT = move(0, 2, owed=True)


def stay(query: Stay, *steps: tuple[int, str]) -> Outline:
    return Outline(stays={"R.1": (query, tuple(Shrinking(*step) for step in steps))})


STAYS = {
    "R.1: begins": ([], stay(IN_0), [{0}]),
    "R.1: is closed": ([move(0, 1), move(1, 1)], stay(FROM_0, (1, "")), [{0, 1}, {0}]),
    "R.1: nothing stands still": ([], stay(IN_0, (0, "")), [{0}]),
    "R.1: step 1, every move leaves": ([move(0, 0)], stay(IN_0, (0, "")), [{0}]),
    "R.1: step 1, 0 to 2 is owed": (
        [move(0, 0), replace(move(0, 2), fair=among(2))],
        stay(IN_0, (1, "0 to 2")),
        [{0, 2}, {0}],
    ),
    "R.1: step 1, 0 to 0 leaves": ([move(0, 0, owed=True)], stay(IN_0, (0, "0 to 0")), [{0}]),
    # To and fro for ever: the way out is owed again and again, but never for ever.
    "R.1: step 1, no way back": (
        [move(0, 1), move(1, 0), OUT],
        stay(IN_01, (1, "0 to 2"), (2, "")),
        [{0, 1, 2}, {0, 1}, {1}],
    ),
}
TO_1 = Trap(among(1))


def ladder(*rungs: tuple[int, str], home: int | None = None) -> Outline:
    start = None if home is None else (home,)
    return Outline(traps={"R.1": (TO_1, Ladder(tuple(Rung(*rung) for rung in rungs), start))})


def dead_end(query: Trap) -> Outline:
    return Outline(dead_ends={"R.1": (query, 1, (0,))})


TRAPS = {
    "R.1: the first set is the goal": ([], ladder((0, "")), [{0}]),
    "R.1: rung 1": ([move(0, 0)], ladder((1, ""), (2, "0 to 0")), [{0}, {1}, {0, 1}]),
    "R.1: the last set covers the invariant": ([], ladder((1, "")), [{0}, {1}]),
    "home 1: the first set is the goal": (
        [],
        ladder((1, ""), home=2),
        [{0}, {0, 2}],
    ),
    "R.1: the dead end holds the end of the run": ([], dead_end(TO_1), [{0}, {2}]),
    "R.1: the dead end is kept by: 0 to 1": ([move(0, 1)], dead_end(TO_1), [{0, 1}, {0}]),
    "R.1: the dead end has no goal": ([], dead_end(Trap(among(0))), [{0}, {0}]),
}
WRONG = INVARIANTS | STAYS | TRAPS


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_in_one_way_is_refuted_by_that_obligation_alone(name: str) -> None:
    assert refuted(*WRONG[name]) == [name]


STRIKE = replace(move(0, 1), kind=MoveKind.FAULT)
CLIMB = ladder((1, ""), (2, "0 to 1"))
RIGHT = {
    "a ladder": ([move(0, 1)], CLIMB, [{0, 1}, {1}, {0, 1}]),
    "a ladder to a home": (
        [move(0, 2), move(2, 0)],
        ladder((1, ""), (2, "0 to 2"), home=2),
        [{0, 2}, {2}, {0, 2}],
    ),
    "a dead end": ([move(0, 2), move(2, 0)], dead_end(TO_1), [{0, 2}, {0, 2}]),
    "a way out that is owed": ([move(0, 0), OUT], stay(IN_0, (1, "0 to 2")), [{0, 2}, {0}]),
    "steps one after the other": (
        [replace(move(0, 1), fair=among(0)), move(0, 0), replace(move(1, 2), fair=among(1))],
        stay(IN_01, (1, "1 to 2"), (2, "0 to 1")),
        [{0, 1, 2}, {0, 1}, {0}],
    ),
    "three steps": (
        [move(0, 1, owed=True), move(1, 2, owed=True), move(2, 3, owed=True)],
        stay(Stay(ex.TRUE, among(0, 1, 2)), (1, "2 to 3"), (2, "1 to 2"), (3, "0 to 1")),
        [{0, 1, 2, 3}, {0, 1, 2}, {0, 1}, {0}],
    ),
}


@pytest.mark.parametrize("name", RIGHT)
def test_what_is_right_is_shown(name: str) -> None:
    assert refuted(*RIGHT[name]) == []


def test_what_stays_must_be_in_the_first_set_also_from_where_a_later_one_is_left() -> None:
    outline = stay(Stay(among(0), among(0, 1, 2)), (1, "1 to 2"), (2, "0 to 1"))
    moves = [move(0, 1, owed=True), move(1, 2, owed=True)]
    assert refuted(moves, outline, [{0, 1, 2}, {0, 1}, {0}]) == ["R.1: is closed"]


def test_nobody_counts_on_a_fault_to_reach_a_goal() -> None:
    assert refuted([STRIKE], CLIMB, [{0, 1}, {1}, {0, 1}]) == ["R.1: rung 1"]


def test_a_home_is_asked_for_once_and_concerns_every_goal_that_counts_on_it() -> None:
    def to(home: int) -> tuple[Trap, Ladder]:
        return TO_1, Ladder((Rung(1), Rung(1)), (home,))

    outline = Outline(traps={"R.1": to(0), "R.2": to(2), "R.3": to(0)})
    system = System((Variable("n", Domain(0, 3), 0),), (OUT,))
    text = "\n".join(write_sets(system, graph([{0}, {0}])))
    asked = script(system, outline, text, read_sets(text, system, 2))
    concerned = {o.name.partition(":")[0]: o.queries for o in asked.obligations if o.queries}
    assert concerned == {"home 1": ("R.1", "R.3"), "home 2": ("R.2",)}


def kind_of(obligation: str) -> str:
    """An obligation's name without what differs from system to system."""
    said = obligation.replace("home 1", "R.1")
    return re.sub(r"step \d", "a step", re.sub(r"\d to \d", "a move", said))


def test_every_kind_of_obligation_is_needed_somewhere_above() -> None:
    everything = Outline(
        Invariant(),
        {"R.1": Reach(among(3))},
        {"R.1": (IN_01, (Shrinking(1, "0 to 2"), Shrinking(2, "")))},
        {"R.1": (TO_1, Ladder((Rung(1), Rung(2, "0 to 2"))))},
        {"R.1": (TO_1, 1, (0,))},
    )
    system = System((Variable("n", Domain(0, 3), 0),), (OUT,))
    text = "\n".join(write_sets(system, graph([{0}, {0}, {0}])))
    asked = script(system, everything, text, read_sets(text, system, 3))
    assert {kind_of(o.name) for o in asked.obligations} == {kind_of(name) for name in WRONG}


# The same with a scan that answers every move. A state is a number and whether a scan is due.

HERE, DUE = ex.eq(ex.var(PHASE), ex.const(0)), ex.eq(ex.var(PHASE), ex.const(1))
ALONE = (Case((), 0),)


def turn(source: int, target: int) -> Move:
    plain = move(source, target)
    updates = {**plain.updates, PHASE: ex.const(1)}
    return replace(plain, guard=ex.and_(HERE, plain.guard), updates=updates)


def scanned(
    *moves: Move, due: bool = True, scan: Move | None = None, more: tuple[Variable, ...] = ()
) -> System:
    """A scan is due at the beginning, unless told otherwise."""
    variables = (Variable("n", Domain(0, 3), 0), Variable(PHASE, BOOL, int(due)), *more)
    scan = scan or Move("scan", MoveKind.SCAN, ex.TRUE, {PHASE: ex.const(0)})
    return System(variables, (*moves, scan))


def of_scanned(outline: Outline | None = None, cases: tuple[Case, ...] = ALONE) -> Outline:
    split = ("n",) if cases[0].values else ()
    return replace(outline or Outline(), invariant=Invariant(True, split, cases))


def never(*truths: ex.Expr) -> Outline:
    return of_scanned(Outline(reaches={"R.1": Reach(ex.and_(*truths))}))


def begins(*truths: ex.Expr) -> Outline:
    """Nothing may start with all of these and stay."""
    return of_scanned(Outline(stays={"R.1": (Stay(ex.and_(*truths), ex.TRUE), ())}))


# What is 0 becomes 2.
TWO = ex.ite(among(0), ex.const(2), ex.var("n"))
TO_2 = Move("scan", MoveKind.SCAN, ex.TRUE, {"n": TWO, PHASE: ex.const(0)})
SCANNED = [
    ("initially: the invariant is kept by: scan", scanned(), of_scanned(), [{1}]),
    (
        "initially: the invariant is kept by: 0 to 1",
        scanned(turn(0, 1), due=False, scan=TO_2),
        of_scanned(),
        [{2}],
    ),
    ("the invariant is kept by: 0 to 1", scanned(turn(0, 1)), of_scanned(), [{0}]),
    # A scan alone leads on, too.
    (
        "the invariant is kept by: scan",
        scanned(scan=replace(TO_2, updates={**TO_2.updates, "n": ex.ite(HERE, TWO, ex.var("n"))})),
        of_scanned(),
        [{0}],
    ),
    ("initially: the invariant implies R.1", scanned(), never(among(0), DUE), [{0}]),
    (
        "initially: the invariant implies R.1",
        scanned(
            turn(0, 1), due=False, scan=replace(TO_2, updates={**TO_2.updates, "n": ex.const(2)})
        ),
        never(among(1)),
        [{2}],
    ),
    ("the invariant implies R.1", scanned(), never(among(0), HERE), [{0}]),
    ("the invariant implies R.1", scanned(turn(0, 1)), never(among(1), DUE), [{0, 1}]),
    ("initially: R.1: begins", scanned(), begins(among(0), DUE), [{0}]),
    ("R.1: begins", scanned(), begins(among(0), HERE), [{0}]),
    ("R.1: begins", scanned(turn(0, 1)), begins(among(1), DUE), [{0, 1}]),
    ("R.1: rung 1", scanned(), of_scanned(ladder((1, ""), (2, "scan"))), [{0}, {1}, {0, 1}]),
    ("R.1: the first set is the goal", scanned(), of_scanned(ladder((0, ""))), [{0}]),
    ("R.1: the last set covers the invariant", scanned(), of_scanned(ladder((1, ""))), [{0}, {1}]),
    (
        "a scan is always possible",
        scanned(scan=replace(TO_2, guard=DUE)),
        of_scanned(),
        [{2}],
    ),
    (
        "every move waits for the scan",
        scanned(replace(turn(3, 3), guard=among(3))),
        of_scanned(),
        [{0}],
    ),
    (
        "after every move a scan is due",
        scanned(replace(turn(3, 3), updates={"n": ex.const(3)})),
        of_scanned(),
        [{0}],
    ),
    (
        "case 1: the invariant is kept by: 0 to 1",
        scanned(turn(0, 1)),
        of_scanned(cases=(Case((0,), 0), Case((2,), 0))),
        [range(4)],
    ),
]


@pytest.mark.parametrize("number", range(len(SCANNED)))
def test_what_is_wrong_with_scanned_states_is_refuted_by_one_obligation(number: int) -> None:
    name, system, outline, sets = SCANNED[number]
    assert refuted_of(system, outline, sets) == [name]


def test_a_goal_that_only_holds_before_the_scan_can_be_reached() -> None:
    back = ex.ite(among(1), ex.const(0), ex.var("n"))
    scan = Move("scan", MoveKind.SCAN, ex.TRUE, {"n": back, PHASE: ex.const(0)})
    asked = of_scanned(ladder((0, "")))
    assert refuted_of(scanned(turn(0, 1), scan=scan), asked, [{0}]) == []
    assert refuted_of(scanned(turn(0, 2), scan=scan), asked, [{0, 2}]) == [
        "R.1: the first set is the goal"
    ]


def test_cases_that_a_scan_decides_are_taken_together() -> None:
    # The scan chooses between two cases, so where a move leads to is no single one.
    chosen = ex.ite(among(1), ex.const(2), ex.const(3))
    scan = Move("scan", MoveKind.SCAN, ex.TRUE, {"n": chosen, PHASE: ex.const(0)})
    both = (Case((2,), 0), Case((3,), 0))
    system = scanned(turn(2, 1), turn(3, 1), scan=scan)
    assert refuted_of(system, of_scanned(cases=both), [range(4)]) == []
    assert "initially: the invariant is kept by: scan" in refuted_of(
        system, of_scanned(cases=both[:1]), [range(4)]
    )


def test_the_scan_that_answers_a_fault_is_the_one_with_the_fault() -> None:
    # The scan looks at the flag that has only just been set: from 0 it leads to 2, not to 0.
    system = scanned(
        Move("strike", MoveKind.FAULT, HERE, {"f": ex.const(1), PHASE: ex.const(1)}),
        scan=Move(
            "scan",
            MoveKind.SCAN,
            ex.TRUE,
            {"n": ex.ite(ex.var("f"), ex.const(2), ex.var("n")), PHASE: ex.const(0)},
        ),
        more=(Variable("f", BOOL, 0),),
    )
    cases = (Case((0,), 0), Case((1,), 1))
    outline = Outline(Invariant(True, ("f",), cases))
    assert refuted_of(system, outline, [{0}, {0}]) == ["case 1: the invariant is kept by: strike"]
    assert refuted_of(system, outline, [{0}, {2}]) == []
