"""Published judgements of the patterns on short traces; the last state repeats for ever.

Source: Dwyer, Avrunin and Corbett, "Patterns in property specifications for finite-state
verification", ICSE 1999, and the formulas published with it.
"""

from __future__ import annotations

import pytest

from interlock.independent_judge.trace import holds
from interlock.kernel.asking import ask
from interlock.kernel.expr import TRUE, Expr, or_
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Pattern, Requirement, Scope, ScopeKind
from tests.support.build import is_, move, system
from tests.support.engines import Explore

NEVER, ALWAYS, EXISTS = Pattern.NEVER, Pattern.ALWAYS, Pattern.EXISTS
LEADS_TO, ONLY_AFTER = Pattern.LEADS_TO, Pattern.ONLY_AFTER
GLOBALLY, BEFORE, AFTER = ScopeKind.GLOBALLY, ScopeKind.BEFORE, ScopeKind.AFTER
BETWEEN, AFTER_UNTIL = ScopeKind.BETWEEN, ScopeKind.AFTER_UNTIL

# Each letter stands for a predicate that holds in the state.
FACTS = [
    # R never comes: 'between' says nothing, 'after-until' goes on for ever.
    (NEVER, BETWEEN, ["q", "p", ""], True),
    (NEVER, AFTER_UNTIL, ["q", "p", ""], False),
    (ONLY_AFTER, GLOBALLY, ["ps", ""], True),
    (LEADS_TO, GLOBALLY, ["ps", ""], True),
    (LEADS_TO, GLOBALLY, ["p", "p", "s", ""], True),
    (ONLY_AFTER, GLOBALLY, ["p", "p", "s", ""], False),
    # A scope is open on the right: an S together with R comes too late.
    (LEADS_TO, BEFORE, ["p", "rs", ""], False),
    # ... and closed on the left.
    (NEVER, AFTER, ["pq", ""], False),
    (NEVER, BEFORE, ["", "pr", ""], True),
    # Follow from the formulas.
    (EXISTS, GLOBALLY, ["", "", ""], False),
    (EXISTS, BEFORE, ["", ""], True),
    (EXISTS, BEFORE, ["", "pr"], False),
    (EXISTS, AFTER, ["p", "q", ""], False),
    (EXISTS, BETWEEN, ["q", ""], True),
    (EXISTS, AFTER_UNTIL, ["q", ""], False),
    (ALWAYS, BETWEEN, ["pq", "p", "r"], True),
    (ALWAYS, BETWEEN, ["pq", "", "r"], False),
    # Decided here: where Q and R hold together, no scope opens.
    (NEVER, BETWEEN, ["pqr", "r"], True),
    (NEVER, AFTER_UNTIL, ["pqr", ""], True),
]
CASES = [pytest.param(*f, id=f"{f[0].value}, {f[1].value}: {' '.join(f[2])}–") for f in FACTS]


@pytest.mark.parametrize(("pattern", "kind", "trace", "known"), CASES)
def test_the_formula_judges_the_trace_as_published(
    pattern: Pattern, kind: ScopeKind, trace: list[str], known: bool
) -> None:
    word = [{name: name in letter for name in "psqr"} for letter in trace]
    assert holds(pattern, kind, word, len(word) - 1) is known


@pytest.mark.parametrize(("pattern", "kind", "trace", "known"), CASES)
def test_an_engine_judges_the_trace_as_published(
    explore: Explore, pattern: Pattern, kind: ScopeKind, trace: list[str], known: bool
) -> None:
    def where(name: str) -> Expr:
        return or_(*(is_("place", n) for n, letter in enumerate(trace) if name in letter))

    last = len(trace) - 1
    steps = [move(f"to {n + 1}", is_("place", n), {"place": n + 1}) for n in range(last)]
    of = system({"place": (0, last, 0)}, *steps)
    scope = Scope(kind, where("q"), where("r"))
    question = ask(of, Requirement("R", pattern, where("p"), where("s"), scope))
    answers = explore(question.system, question.violations).answers
    assert any(answer.found for answer in answers) is not known


def test_the_five_patterns_of_time_need_one_and_ask_for_no_failure_to_be_survived() -> None:
    # S. Konrad, B. Cheng, "Real-time specification patterns", ICSE 2005, from memory: minimum and
    # maximum duration, bounded recurrence, bounded response, bounded invariance; and 'not yet',
    # which is ours. A bounded response is a response, which may go without a time.
    timed = {Pattern.AT_LEAST, Pattern.AT_MOST, Pattern.RECURS, Pattern.STAYS}
    timed.add(Pattern.NOT_YET)
    assert {pattern for pattern, row in PATTERNS.items() if row.is_timed} == timed
    bounded = {pattern for pattern, row in PATTERNS.items() if row.has_bound}
    assert bounded == {*timed, Pattern.LEADS_TO}
    assert Requirement("R", Pattern.NEVER, TRUE).survives == 0
