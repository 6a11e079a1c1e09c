"""Images and preimages of moves, against the plain stepper on every state."""

from __future__ import annotations

from itertools import product

from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.engines.symbolic.encoding import Encoding
from interlock.engines.symbolic.moves import SymbolicMove, copied_variables, plan
from interlock.kernel.evaluate import State, evaluate
from interlock.kernel.expr import TRUE, clamp, var
from interlock.kernel.system import Domain, Move, MoveKind, Stepper, System, Variable
from tests.support.strategies import Intervals, numbers, truths

DOMAINS: Intervals = {"a": (0, 2), "b": (-1, 1), "c": (0, 1), "d": (0, 1), "one": (5, 5)}
STATES = list(product(*(range(lo, hi + 1) for lo, hi in DOMAINS.values())))


def one_move(move: Move) -> System:
    variables = tuple(Variable(n, Domain(lo, hi), lo) for n, (lo, hi) in DOMAINS.items())
    return System(variables, (move,))


def states_in(encoding: Encoding, node: object) -> set[State]:
    return {state for state in STATES if encoding.holds(node, state)}  # type: ignore[arg-type]


def check_move(move: Move, before: set[State]) -> None:
    system = one_move(move)
    encoding = Encoding(system, copied_variables(system))
    symbolic = SymbolicMove.of(encoding, move)
    stepper = Stepper(system)
    dd = encoding.diagrams
    sources = dd.disjunction(encoding.is_state(state) for state in sorted(before))
    reached = {target for state in before for _, target in stepper.successors(state)}
    image = symbolic.image(sources)
    assert states_in(encoding, image) == reached
    assert encoding.count(image) == len(reached)
    earlier = {s for s in STATES for _, target in stepper.successors(s) if target in before}
    assert states_in(encoding, symbolic.preimage(sources)) == earlier


@given(data=st.data())
@settings(deadline=None)
def test_a_move_leads_where_the_stepper_leads(data: st.DataObject) -> None:
    names = data.draw(st.lists(st.sampled_from("abcd"), min_size=1, unique=True))
    updates = {name: clamp(data.draw(numbers(DOMAINS)), *DOMAINS[name]) for name in names}
    guard = data.draw(st.just(TRUE) | truths(DOMAINS))
    condition = data.draw(truths(DOMAINS))
    before = {s for s in STATES if evaluate(condition, dict(zip(DOMAINS, s, strict=True)))}
    check_move(Move("m", MoveKind.PLANT, guard, updates), before)


def test_variables_that_read_each_other_are_exchanged() -> None:
    swap = Move("swap", MoveKind.PLANT, TRUE, {"c": var("d"), "d": var("c")})
    check_move(swap, {s for s in STATES if s[2] < s[3]})


def test_a_long_circle_of_variables_turns_by_one() -> None:
    circle = {
        "a": clamp(var("b"), 0, 2),
        "b": clamp(var("c"), -1, 1),
        "c": var("d"),
        "d": clamp(var("a"), 0, 1),
    }
    for first in range(3):
        move = Move("turn", MoveKind.PLANT, TRUE, circle)
        check_move(move, {s for s in STATES if s[0] == first})


def test_only_a_circle_needs_a_copy() -> None:
    assert plan({1: frozenset({2}), 2: frozenset({3}), 4: frozenset({4})}).copied == ()
    assert plan({1: frozenset({2}), 2: frozenset({1})}).copied == (1,)


def test_what_nobody_reads_is_written_before_what_it_reads() -> None:
    chosen = plan({1: frozenset({2}), 2: frozenset({2, 3})})
    assert chosen.unread == {1}
    assert chosen.steps == ((1,), (2,))
