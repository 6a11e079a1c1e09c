"""Many states at once mean what each of them means by itself."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import Expr
from interlock.kernel.lanes import Lanes, bits, differing, in_all, lanes_function, merged
from tests.support import strategies

DOMAINS = {"a": (0, 1), "b": (0, 1), "n": (-3, 4), "m": (0, 6)}
TRUTHS = {"a", "b"}
INDEX = {name: number for number, name in enumerate(DOMAINS)}
VALUES = st.fixed_dictionaries({n: st.integers(lo, hi) for n, (lo, hi) in DOMAINS.items()})
MANY = st.lists(VALUES, min_size=1, max_size=70)


def lanes_of(values: list[int], is_truth: bool) -> Lanes:
    """The values of one variable in many states, put together bit by bit."""
    found: dict[int, int] = {0: 0, 1: 0} if is_truth else {}
    for lane, value in enumerate(values):
        found[value] = found.get(value, 0) | 1 << lane
    return found[1] if is_truth else found


def value_in(lanes: Lanes, lane: int) -> int:
    """What one lane has; an error where it has no value, or several."""
    if isinstance(lanes, int):
        return lanes >> lane & 1
    (value,) = (v for v, there in lanes.items() if there >> lane & 1)
    return value


def computed(root: Expr, is_truth: bool, states: list[dict[str, int]]) -> Lanes:
    given_ = [lanes_of([s[name] for s in states], name in TRUTHS) for name in DOMAINS]
    function = lanes_function([(root, is_truth)], INDEX, TRUTHS)
    return function(given_, (1 << len(states)) - 1)[0]


@given(strategies.truths(DOMAINS), MANY)
def test_a_truth_in_many_states_is_that_in_each(e: Expr, states: list[dict[str, int]]) -> None:
    found = computed(e, True, states)
    assert [value_in(found, lane) for lane in range(len(states))] == [
        evaluate(e, state) for state in states
    ]
    assert isinstance(found, int)
    assert 0 <= found < 1 << len(states)


@given(st.one_of(strategies.numbers(DOMAINS), strategies.truths(DOMAINS)), MANY)
def test_a_number_in_many_states_is_that_in_each(e: Expr, states: list[dict[str, int]]) -> None:
    found = computed(e, False, states)
    assert not isinstance(found, int)
    for lane, state in enumerate(states):
        assert value_in(found, lane) == evaluate(e, state)


@given(MANY, MANY, st.integers(0, 2**70))
def test_values_are_merged_and_told_apart_lane_by_lane(
    here: list[dict[str, int]], there: list[dict[str, int]], inside: int
) -> None:
    n = min(len(here), len(there))
    inside &= (1 << n) - 1
    for name in ("a", "n"):
        values = [[state[name] for state in states[:n]] for states in (here, there)]
        one, other = (lanes_of(v, name in TRUTHS) for v in values)
        joined = merged(inside, one, other)
        wanted = [a if inside >> k & 1 else b for k, (a, b) in enumerate(zip(*values, strict=True))]
        assert [value_in(joined, k) for k in range(n)] == wanted
        apart = [k for k, (a, b) in enumerate(zip(*values, strict=True)) if a != b]
        assert list(bits(differing(one, other))) == apart


def test_a_truth_that_is_computed_as_a_number_is_taken_as_a_truth() -> None:
    least = ex.minimum(ex.var("a"), ex.var("b"))
    states = [{"a": a, "b": b, "n": 0, "m": 0} for a in (0, 1) for b in (0, 1)]
    assert computed(least, True, states) == 0b1000
    assert computed(ex.not_(least), True, states) == 0b0111


def test_a_choice_of_two_numbers_is_no_truth() -> None:
    choice = ex.ite(ex.var("a"), ex.const(2), ex.const(0))
    states = [{"a": a, "b": 0, "n": 0, "m": 0} for a in (0, 1)]
    assert [value_in(computed(choice, False, states), lane) for lane in (0, 1)] == [0, 2]
    assert computed(ex.eq(choice, ex.var("a")), True, states) == 0b01


def test_one_value_in_all_lanes() -> None:
    assert in_all(1, True, 0b111) == 0b111
    assert in_all(0, True, 0b111) == 0
    assert in_all(5, False, 0b111) == {5: 0b111}
