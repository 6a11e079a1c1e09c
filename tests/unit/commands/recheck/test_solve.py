"""Asking the solver: in parts over processes, and after it gave up."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.base.errors import InternalError
from interlock.base.pool import spread
from interlock.commands.recheck import solve
from interlock.commands.recheck.solve import Result, discharge
from interlock.evidence.script import Group, Obligation, Script

SYSTEM = "(set-logic QF_BV)\n(declare-const |a| Bool)\n(declare-const |b| Bool)\n"
# Under each of the first, what is asked of the second has its own answer.
GROUPS = tuple(
    Group(f"g{n}", assumed, (Obligation(f"{n} a", "|a|"), Obligation(f"{n} b", "(and |a| |b|)")))
    for n, assumed in enumerate(["(not |a|)", "true", "(not |b|)", "(and |a| |b|)"] * 5)
)
ANSWERS = [True, True, False, False, False, True, False, False] * 5


def told(**options: object) -> list[bool]:
    found = list(discharge(Script(SYSTEM, "", GROUPS), **options))  # type: ignore[arg-type]
    names = [obligation.name for group in GROUPS for obligation in group.obligations]
    assert [done.obligation.name for done in found] == names
    assert {done.result for done in found} <= {Result.DISCHARGED, Result.REFUTED}
    return [done.result is Result.DISCHARGED for done in found]


def test_each_group_is_asked_under_its_own_assumption_alone() -> None:
    assert told() == ANSWERS


def test_several_processes_say_the_same_in_the_same_order(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(solve, "spread", partial(spread, worth_seconds=0))
    said: list[str] = []
    assert told(n_processes=2, progress=said.append) == ANSWERS
    assert said[-1] == "20 of 20 parts"


@given(st.lists(st.integers(1, 40), min_size=1), st.integers(1, 20))
def test_parts_hold_every_obligation_once_under_its_assumption(
    lengths: list[int], n_parts: int
) -> None:
    groups = tuple(
        Group("", f"a{g}", tuple(Obligation(f"{g}.{o}", "false") for o in range(n)))
        for g, n in enumerate(lengths)
    )
    parts = solve._parts(Script("", "", groups), n_parts)
    asked = [(g.assumed, o.name) for part in parts for g in part for o in g.obligations]
    assert asked == [(g.assumed, o.name) for g in groups for o in g.obligations]
    sizes = [sum(len(g.obligations) for g in part) for part in parts]
    assert max(sizes) <= max(1, sum(lengths) // n_parts)


def test_what_the_solver_gave_up_leaves_nothing_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    # Cut off in the middle, so that what was asserted stays asserted.
    show: Callable[[Obligation], str] = solve.show
    cut = '(push 1)\n(assert false)\n(echo "canceled")\n'
    monkeypatch.setattr(solve, "show", lambda o: cut if o.name == "1 a" else show(o))
    results = [done.result for done in discharge(Script(SYSTEM, "", GROUPS))]
    assert results[2] is Result.UNDECIDED
    later = [result is Result.DISCHARGED for result in results[3:]]
    assert later == ANSWERS[3:]


def test_what_takes_longer_than_it_may_is_undecided_and_the_next_is_not() -> None:
    # More pigeons than holes: A. Haken, "The intractability of resolution", 1985.
    n_holes = 11
    names = [[f"p{pigeon}.{hole}" for hole in range(n_holes)] for pigeon in range(n_holes + 1)]
    system = SYSTEM + "".join(f"(declare-const {n} Bool)\n" for row in names for n in row)
    settled = [f"(or {' '.join(row)})" for row in names]
    alone = [
        f"(not (and {a} {b}))"
        for hole in zip(*names, strict=True)
        for a, b in combinations(hole, 2)
    ]
    hard = f"(and {' '.join([*settled, *alone])})"
    asked = (Obligation("hard", hard), Obligation("easy", "(and |a| (not |a|))"))
    script = Script(system, "", (Group("g", "true", asked),))
    results = [done.result for done in discharge(script, max_seconds=0.2)]
    assert results == [Result.UNDECIDED, Result.DISCHARGED]


@pytest.mark.parametrize(
    "script",
    [
        Script(SYSTEM + "(assert |c|)\n", "", GROUPS),
        Script(SYSTEM, "(define-fun s0 () Bool |c|)\n", GROUPS),
        Script(SYSTEM, "", (Group("g", "|c|", (Obligation("a", "|a|"),)),)),
        Script(SYSTEM, "", (Group("g", "true", (Obligation("c", "|c|"),)),)),
    ],
)
def test_what_the_solver_does_not_understand_is_never_an_answer(script: Script) -> None:
    with pytest.raises(InternalError, match=r"recheck: .*solver"):
        list(discharge(script))
