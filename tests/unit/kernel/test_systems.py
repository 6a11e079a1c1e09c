"""Systems are checked when built, packed and unpacked without loss, and run checked."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interlock.kernel import expr as ex
from interlock.kernel.codec import Codec
from interlock.kernel.requirement import Outcome, Verdict
from interlock.kernel.system import BOOL, Domain, Move, MoveKind, Stepper, System, Variable
from interlock.kernel.witness import Step, Witness, check_run

COUNT = Variable("n", Domain(0, 3), 0)
UP = Move(
    "up",
    MoveKind.PLANT,
    ex.lt(ex.var("n"), ex.const(3)),
    {"n": ex.minimum(ex.add(ex.var("n"), ex.const(1)), ex.const(3))},
    fair=ex.lt(ex.var("n"), ex.const(3)),
)
RESET = Move("reset", MoveKind.OPERATOR, ex.TRUE, {"n": ex.const(0)})


def test_an_update_that_can_leave_its_domain_is_refused() -> None:
    wild = Move("up", MoveKind.PLANT, ex.TRUE, {"n": ex.add(ex.var("n"), ex.const(1))})
    with pytest.raises(ValueError, match=r"n may become \(1, 4\), outside 0..3"):
        System((COUNT,), (wild,))


def test_what_moves_share_is_looked_at_for_each_of_them() -> None:
    more = ex.add(ex.var("n"), ex.const(1))
    shared = Move("on", MoveKind.PLANT, ex.lt(more, ex.const(4)), {})
    wild = Move("up", MoveKind.PLANT, ex.TRUE, {"n": more})
    with pytest.raises(ValueError, match=r"move up: n may become \(1, 4\), outside 0..3"):
        System((COUNT,), (shared, wild))


def test_a_system_may_start_in_another_state_of_its_own() -> None:
    system = System((COUNT,), (UP, RESET))
    started = system.starting_in((2,))
    assert started == System((Variable("n", Domain(0, 3), 2),), (UP, RESET))
    assert (started.initial, system.initial) == ((2,), (0,))
    with pytest.raises(ValueError, match="n: initial value 4 is outside its domain"):
        system.starting_in((4,))


def test_unknown_variables_and_repeated_names_are_refused() -> None:
    with pytest.raises(ValueError, match="unknown variables"):
        System((COUNT,), (Move("m", MoveKind.PLANT, ex.var("q"), {}),))
    with pytest.raises(ValueError, match=r"move names repeat: \['up'\]"):
        System((COUNT,), (UP, RESET, UP))
    with pytest.raises(ValueError, match="variable names repeat"):
        System((COUNT, COUNT), (UP,))


def test_updates_read_the_state_before_the_move() -> None:
    a, b = Variable("a", BOOL, 1), Variable("b", BOOL, 0)
    swap = Move("swap", MoveKind.PLANT, ex.TRUE, {"a": ex.var("b"), "b": ex.var("a")})
    system = System((a, b), (swap,))
    assert Stepper(system).after((1, 0), swap) == (0, 1)


def test_narrowing_drops_what_nothing_depends_on() -> None:
    scratch = Variable("scratch", BOOL, 0)
    noting = Move("note", MoveKind.PLANT, ex.TRUE, {"scratch": ex.eq(ex.var("n"), ex.const(1))})
    narrowed = System((COUNT, scratch), (UP, noting)).narrowed([])
    assert [v.name for v in narrowed.variables] == ["n"]


def test_narrowing_keeps_what_a_guard_reads() -> None:
    gate, shut = Variable("gate", BOOL, 0), Variable("shut", BOOL, 0)
    through = Move("through", MoveKind.PLANT, ex.var("gate"), {"gate": ex.var("shut")})
    narrowed = System((gate, shut), (through,)).narrowed([])
    assert [v.name for v in narrowed.variables] == ["gate", "shut"]


def test_values_lie_side_by_side_in_words_of_64_bits() -> None:
    def layout(*sizes: int) -> tuple[int, list[tuple[int, int, int]]]:
        variables = [Variable(f"v{n}", Domain(0, size - 1), 0) for n, size in enumerate(sizes)]
        codec = Codec.of(variables)
        return codec.n_words, [(f.word, f.shift, f.width) for f in codec.fields]

    assert layout(*[2] * 64)[0] == 1
    assert layout(*[2] * 65)[0] == 2
    assert layout(*[2] * 129)[0] == 3
    # As few bits as tell the values apart; what fits no more goes into the next word.
    assert layout(4, 5, 1, 2**60, 2) == (
        2,
        [(0, 0, 2), (0, 2, 3), (0, 5, 0), (1, 0, 60), (0, 5, 1)],
    )


@given(
    st.lists(st.integers(1, 2**40), min_size=1, max_size=12).flatmap(
        lambda sizes: st.tuples(
            st.just(sizes), st.tuples(*(st.integers(-5, size - 6) for size in sizes))
        )
    )
)
def test_packing_loses_nothing(case: tuple[list[int], tuple[int, ...]]) -> None:
    sizes, state = case
    variables = [Variable(f"v{n}", Domain(-5, s - 6), -5) for n, s in enumerate(sizes)]
    codec = Codec.of(variables)
    words = codec.pack(state)
    assert codec.unpack(words) == state
    assert all(0 <= word < 2**64 for word in words)
    assert len(words) == codec.n_words


@pytest.mark.parametrize(
    ("steps", "loop_start", "says"),
    [
        ([("up", 2)], None, "leads elsewhere"),
        ([("up", 1), ("up", 2), ("up", 3), ("up", 3)], None, "not enabled"),
        ([("up", 1), ("reset", 0)], 1, "does not close"),
        ([("reset", 0)], 0, "the loop owes up"),
        ([("up", 1)], 1, "stands still where a move is enabled"),
    ],
)
def test_what_is_no_run_is_refused(
    steps: list[tuple[str, int]], loop_start: int | None, says: str
) -> None:
    system = System((COUNT,), (UP, RESET))
    run = Witness((0,), tuple(Step(move, (n,)) for move, n in steps), loop_start)
    with pytest.raises(ValueError, match=says):
        check_run(system, run)


def test_a_fair_loop_is_accepted() -> None:
    system = System((COUNT,), (UP, RESET))
    check_run(system, Witness((0,), (Step("up", (1,)), Step("reset", (0,))), 0))


def test_a_verdict_has_no_truth_value() -> None:
    verdict = Verdict("R1", Outcome.HOLDS, None, 0, 1, 0, None, 0.0)
    with pytest.raises(TypeError, match="three values"):
        bool(verdict)
    assert verdict.vacuous
