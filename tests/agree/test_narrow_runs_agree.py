"""Shortest runs looked for in part of a system, against a search of all of it."""

from __future__ import annotations

from collections import Counter

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines import catalogue
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import Expr
from interlock.kernel.nearest import nearest
from interlock.kernel.query import Reach
from interlock.kernel.system import Domain, Move, MoveKind, Stepper, System, Variable
from interlock.kernel.witness import Witness
from tests.support.strategies import conditions, random_system

ENGINES = ("reference", "enumerate", "symbolic")


def is_run(system: System, run: Witness, target: Expr) -> bool:
    """Whether every step is possible and leads where it says, and the end has the target."""
    stepper, state = Stepper(system), run.initial
    for step in run.steps:
        after = {move.name: there for move, there in stepper.successors(state)}
        if after.get(step.move) != step.state:
            return False
        state = step.state
    values = dict(zip((v.name for v in system.variables), state, strict=True))
    return run.initial == system.initial and evaluate(target, values) == 1


@settings(deadline=None)
@given(st.data(), st.sampled_from(ENGINES))
def test_runs_of_part_of_a_system_are_shortest_runs_of_it(data: st.DataObject, name: str) -> None:
    system = data.draw(random_system())
    targets = data.draw(st.lists(conditions(system), min_size=1, max_size=3))
    whole = catalogue()["reference"]().explore(system, [Reach(target) for target in targets])
    found = nearest(catalogue()[name](), system, targets)
    for target, wanted, answer in zip(targets, whole.answers, found.answers, strict=True):
        assert answer.found == wanted.found
        if wanted.witness is None:
            assert answer.witness is None
        else:
            assert answer.witness is not None
            assert len(answer.witness.steps) == len(wanted.witness.steps)
            assert is_run(system, answer.witness, target)


def test_what_decides_nothing_is_left_out_and_made_good_again() -> None:
    # A lamp that follows a count, which nothing reads.
    n, lamp = ex.var("n"), ex.var("lamp")
    counts = Move(
        "counts",
        MoveKind.PLANT,
        ex.lt(n, ex.const(5)),
        {"n": ex.minimum(ex.add(n, ex.const(1)), ex.const(5)), "lamp": ex.eq(n, ex.const(2))},
    )
    variables = (Variable("n", Domain(0, 5), 0), Variable("lamp", Domain(0, 1), 0))
    system = System(variables, (counts,))
    met: Counter[int] = Counter()
    for name in ENGINES:
        (answer,) = nearest(catalogue()[name](), system, [ex.eq(n, ex.const(3))]).answers
        assert answer.witness is not None
        assert [step.state for step in answer.witness.steps] == [(1, 0), (2, 0), (3, 1)]
        (seen,) = nearest(catalogue()[name](), system, [lamp]).answers
        assert seen.witness == answer.witness
        met[len(system.narrowed([n]).variables)] += 1
    assert met == {1: len(ENGINES)}
