"""Searches and observers against the published formulas, evaluated directly on runs.

Both ways of asking a requirement are held to the formulas, and by that to each other.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.engines.reference import ReferenceEngine
from interlock.independent_judge.trace import holds
from interlock.kernel import expr as ex
from interlock.kernel.asking import Question, ask
from interlock.kernel.evaluate import evaluate
from interlock.kernel.expr import Expr, and_, const, eq, not_, or_, var
from interlock.kernel.observe import observe
from interlock.kernel.patterns import PATTERNS as TABLE
from interlock.kernel.query import Query
from interlock.kernel.requirement import Pattern, Requirement, Scope, ScopeKind
from interlock.kernel.system import PHASE, Move, MoveKind, Stepper, System
from interlock.kernel.witness import Step, Witness, check_run
from tests.support.build import is_, move, system
from tests.support.choices import Choices
from tests.support.judge import check_shows
from tests.support.strategies import a_truth, random_system

Word = list[dict[str, bool]]

# Those that need a time are held to their formulas in `test_bounds_agree_with_formulas`.
PATTERNS = [p for p in Pattern if p is not Pattern.CAN_STILL and not TABLE[p].is_timed]
ALL = [pytest.param(p, s, id=f"{p.value}, {s.value}") for p, s in product(PATTERNS, ScopeKind)]
Asking = Callable[[System, Requirement], Question]
BOTH = pytest.mark.parametrize("asking", [ask, observe])
SETTINGS = settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.too_slow])


def a_letter(by: Choices) -> dict[str, bool]:
    return {name: by.maybe() for name in "psqr"}


@st.composite
def repeated(draw: st.DrawFn) -> tuple[Word, int]:
    """A word, and from which of its letters on it is repeated."""
    by = Choices(draw)
    word = [a_letter(by) for _ in range(by.between(1, 6))]
    return word, by.below(len(word))


@st.composite
def scanned(draw: st.DrawFn) -> tuple[Word, int, Word]:
    """The same, and what stands before each scan."""
    word, loop_start = draw(repeated())
    by = Choices(draw)
    return word, loop_start, [a_letter(by) for _ in word]


def speller(word: Word, loop_start: int) -> System:
    """A system with one run, which spells the word: its predicates are functions of the place."""
    last = len(word) - 1
    moves = [move(f"to {n + 1}", is_("place", n), {"place": n + 1}) for n in range(last)]
    if loop_start < last or loop_start == 0:
        moves.append(move("again", is_("place", last), {"place": loop_start}))
    return system({"place": (0, max(last, 1), 0)}, *moves)


def requirement_on(word: Word, pattern: Pattern, kind: ScopeKind) -> Requirement:
    def where(name: str) -> Expr:
        return or_(*(is_("place", n) for n, letter in enumerate(word) if letter[name]))

    return Requirement("R", pattern, where("p"), where("s"), Scope(kind, where("q"), where("r")))


def violations(
    of: System, requirement: Requirement, asking: Asking
) -> list[tuple[System, Query, Witness]]:
    """What the reference engine finds, each with the system that was asked."""
    question = asking(of, requirement)
    answers = ReferenceEngine().explore(question.system, question.violations).answers
    pairs = zip(question.violations, answers, strict=True)
    return [(question.system, q, a.witness) for q, a in pairs if a.witness is not None]


@BOTH
@pytest.mark.parametrize(("pattern", "kind"), ALL)
@given(drawn=repeated())
@settings(SETTINGS, max_examples=50)
def test_a_run_is_found_exactly_where_it_refutes_the_formula(
    asking: Asking, pattern: Pattern, kind: ScopeKind, drawn: tuple[Word, int]
) -> None:
    word, loop_start = drawn
    found = violations(speller(word, loop_start), requirement_on(word, pattern, kind), asking)
    assert (not found) is holds(pattern, kind, word, loop_start)


@BOTH
def test_every_short_word_is_judged_as_its_formula_says(asking: Asking) -> None:
    # All words of up to two letters over the predicates, repeated from every place.
    alphabet = [dict(zip("psqr", bits, strict=True)) for bits in product((False, True), repeat=4)]
    for pattern, kind in ((Pattern.LEADS_TO, ScopeKind.BETWEEN), (Pattern.EXISTS, ScopeKind.AFTER)):
        for letters_ in product(alphabet, repeat=2):
            word = list(letters_)
            for loop_start in (0, 1):
                requirement = requirement_on(word, pattern, kind)
                found = violations(speller(word, loop_start), requirement, asking)
                assert (not found) is holds(pattern, kind, word, loop_start)


def spelled(of: System, requirement: Requirement, witness: Witness) -> tuple[Word, int]:
    """The predicates along a run; one without a loop is only judged up to its end."""
    named = {
        "p": requirement.p,
        "s": requirement.s,
        "q": requirement.scope.opens,
        "r": requirement.scope.closes,
    }
    states = list(witness.states)
    start = witness.loop_start
    if start is None or start == len(witness.steps):
        start = len(states) - 1
    else:
        del states[-1]  # the first state of the loop again
    word = [
        {name: bool(evaluate(e, of.named(state))) for name, e in named.items()} for state in states
    ]
    return word, start


@st.composite
def requirements(draw: st.DrawFn, of: System, pattern: Pattern, kind: ScopeKind) -> Requirement:
    by = Choices(draw)
    p, s, q, r = (a_truth(by, of.intervals, 2) for _ in range(4))
    return Requirement("R", pattern, p, s, Scope(kind, q, r))


@st.composite
def runs(draw: st.DrawFn, of: System) -> Witness | None:
    """A random run into a loop, or None where none was met."""
    by, stepper, state = Choices(draw), Stepper(of), of.initial
    places, steps = {state: 0}, []
    for _ in range(12):
        options = stepper.successors(state)
        if not options:
            return Witness(of.initial, tuple(steps), len(steps))
        taken, state = by.pick(options)
        steps.append(Step(taken.name, state))
        if state in places:
            return Witness(of.initial, tuple(steps), places[state])
        places[state] = len(steps)
    return None


def is_fair(of: System, run: Witness) -> bool:
    try:
        check_run(of, run)
    except ValueError:
        return False
    return True


@BOTH
@pytest.mark.parametrize(("pattern", "kind"), ALL)
@given(data=st.data())
@SETTINGS
def test_what_is_found_refutes_the_formula_and_what_refutes_it_is_found(
    asking: Asking, pattern: Pattern, kind: ScopeKind, data: st.DataObject
) -> None:
    of = data.draw(random_system(most_moves=5))
    requirement = data.draw(requirements(of, pattern, kind))
    found = violations(of, requirement, asking)
    for asked, query, witness in found:
        check_shows(asked, witness, query)
        word, start = spelled(asked, requirement, witness)
        # Safety is refuted by the run so far, whatever follows; so it is by standing still.
        assert not holds(pattern, kind, word, start)
    run = data.draw(runs(of))
    if run is not None and is_fair(of, run):
        assert found or holds(pattern, kind, *spelled(of, requirement, run))


def scanned_speller(word: Word, loop_start: int) -> System:
    """Spells the word in the states after each scan; before it, the place has not moved on."""
    last = len(word) - 1
    due = eq(var(PHASE), const(1))
    following = [(n, n + 1) for n in range(last)]
    if loop_start < last or loop_start == 0:
        following.append((last, loop_start))
    calm = [and_(is_("place", n), not_(due)) for n, _ in following]
    moves = [move(f"leave {n}", calm[n], {PHASE: ex.TRUE}) for n, _ in following]
    moves += [
        Move(
            f"scan at {n}",
            MoveKind.SCAN,
            and_(is_("place", n), due),
            {PHASE: ex.FALSE, "place": const(target)},
        )
        for n, target in following
    ]
    return system({"place": (0, max(last, 1), 0), PHASE: (0, 1, 0)}, *moves)


@BOTH
@pytest.mark.parametrize(("pattern", "kind"), ALL)
@given(drawn=scanned())
@SETTINGS
def test_after_scan_only_the_states_after_scans_are_judged(
    asking: Asking, pattern: Pattern, kind: ScopeKind, drawn: tuple[Word, int, Word]
) -> None:
    word, loop_start, between = drawn

    def where(name: str) -> Expr:
        due = eq(var(PHASE), const(1))
        return or_(
            *(
                and_(is_("place", n), phase)
                for n, pair in enumerate(zip(word, between, strict=True))
                for letter, phase in zip(pair, (not_(due), due), strict=True)
                if letter[name]
            )
        )

    scope = Scope(kind, where("q"), where("r"))
    requirement = Requirement("R", pattern, where("p"), where("s"), scope, after_scan=True)
    found = violations(scanned_speller(word, loop_start), requirement, asking)
    assert (not found) is holds(pattern, kind, word, loop_start)
