"""Each obligation is needed: a certificate that is wrong in one way alone falls with that one.

The system has one variable ``n`` with the values 0 to 3, and starts at 0.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import replace

import pytest

from interlock.kernel import expr as ex
from interlock.kernel.certificate import ALL, NONE, Decision, Ladder, Shrinking, StateSets
from interlock.kernel.query import Reach, Stay, Trap
from interlock.kernel.system import Domain, Move, MoveKind, System, Variable
from interlock.recheck.obligations import Outline, script
from interlock.recheck.sets import read_sets, write_sets
from interlock.recheck.solve import Result, discharge
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
    text = "\n".join(write_sets(system, graph(sets)))
    asked = script(system, outline, text, read_sets(text, system, len(sets)))
    Checker().run(asked.text)
    results = {done.obligation: done.result for done in discharge(asked)}
    assert set(results.values()) <= {Result.DISCHARGED, Result.REFUTED}
    return [o.name for o, result in results.items() if result is Result.REFUTED]


INVARIANTS = {
    "the invariant holds initially": ([], Outline(), [{1}]),
    "the invariant is kept by: 0 to 1": ([move(0, 1)], Outline(), [{0}]),
    "the invariant implies R.1": ([], Outline({"R.1": Reach(among(0))}), [{0}]),
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


def ladder(*rungs: int, home: int | None = None) -> Outline:
    start = None if home is None else (home,)
    return Outline(traps={"R.1": (TO_1, Ladder(rungs, start))})


def dead_end(query: Trap) -> Outline:
    return Outline(dead_ends={"R.1": (query, 1, (0,))})


TRAPS = {
    "R.1: the first set is the goal": ([], ladder(0), [{0}]),
    "R.1: rung 1": ([move(0, 0)], ladder(1, 2), [{0}, {1}, {0, 1}]),
    "R.1: the last set covers the invariant": ([], ladder(1), [{0}, {1}]),
    "home 1: the first set is the goal": ([], ladder(1, home=2), [{0}, {0, 2}]),
    "R.1: the dead end holds the end of the run": ([], dead_end(TO_1), [{0}, {2}]),
    "R.1: the dead end is kept by: 0 to 1": ([move(0, 1)], dead_end(TO_1), [{0, 1}, {0}]),
    "R.1: the dead end has no goal": ([], dead_end(Trap(among(0))), [{0}, {0}]),
}
WRONG = INVARIANTS | STAYS | TRAPS


@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_in_one_way_is_refuted_by_that_obligation_alone(name: str) -> None:
    assert refuted(*WRONG[name]) == [name]


def kind_of(obligation: str) -> str:
    """An obligation's name without what differs from system to system."""
    said = obligation.replace("home 1", "R.1")
    return re.sub(r"step \d", "a step", re.sub(r"\d to \d", "a move", said))


def test_every_kind_of_obligation_is_needed_somewhere_above() -> None:
    everything = Outline(
        {"R.1": Reach(among(3))},
        {"R.1": (IN_01, (Shrinking(1, "0 to 2"), Shrinking(2, "")))},
        {"R.1": (TO_1, Ladder((1, 2)))},
        {"R.1": (TO_1, 1, (0,))},
    )
    system = System((Variable("n", Domain(0, 3), 0),), (OUT,))
    text = "\n".join(write_sets(system, graph([{0}, {0}, {0}])))
    asked = script(system, everything, text, read_sets(text, system, 3))
    assert {kind_of(o.name) for o in asked.obligations} == {kind_of(name) for name in WRONG}
