"""Requirements in time on short traces, worked out by hand from what their sentences say.

Source of the five patterns: S. Konrad, B. Cheng, "Real-time specification patterns", ICSE 2005,
from memory; 'not yet' is ours. With two units it has lasted for too long, or just long enough.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import pytest

from interlock.engines.reference import ReferenceEngine
from interlock.independent_judge.trace import holds
from interlock.kernel.asking import Question, ask
from interlock.kernel.expr import Expr, or_
from interlock.kernel.observe import observe
from interlock.kernel.observe_time import is_in_time, observe_in_time
from interlock.kernel.requirement import Pattern, Requirement, Scope, ScopeKind
from interlock.kernel.system import Move, MoveKind, System
from tests.support.build import is_, move, system

AT_MOST, AT_LEAST, RECURS = Pattern.AT_MOST, Pattern.AT_LEAST, Pattern.RECURS
LEADS_TO, STAYS, NOT_YET = Pattern.LEADS_TO, Pattern.STAYS, Pattern.NOT_YET
GLOBALLY, BEFORE, AFTER = ScopeKind.GLOBALLY, ScopeKind.BEFORE, ScopeKind.AFTER
BETWEEN, AFTER_UNTIL = ScopeKind.BETWEEN, ScopeKind.AFTER_UNTIL
UNITS = 2

# States with what holds in each, a comma between two in the same instant; a bar is a unit of time
# that passes in a state. The last one stays, and time passes no more.
FACTS = [
    (AT_MOST, GLOBALLY, "p | , -", True),
    (AT_MOST, GLOBALLY, "p | |", False),
    (AT_MOST, GLOBALLY, "- | | , p | , -", True),
    (AT_MOST, GLOBALLY, "p | , - , p | , -", True),
    (AT_MOST, BEFORE, "p | | , -", True),
    (AT_MOST, BEFORE, "p | | , r", False),
    (AT_MOST, BEFORE, "p | | , - | , r", False),
    (AT_MOST, BEFORE, "p | , pr | |", True),
    (AT_MOST, AFTER, "p | , pq | , -", True),
    (AT_MOST, AFTER, "p , pq | , p |", False),
    (AT_MOST, BETWEEN, "pq | | , -", True),
    (AT_MOST, BETWEEN, "pq | | , - , r", False),
    (AT_MOST, BETWEEN, "pq | , r , pq | , r", True),
    (AT_MOST, AFTER_UNTIL, "pq | |", False),
    (AT_MOST, AFTER_UNTIL, "pq | , pr | |", True),
    (RECURS, GLOBALLY, "- | , p | , -", True),
    (RECURS, GLOBALLY, "- | |", False),
    (RECURS, GLOBALLY, "p | | , - | , p", True),
    (RECURS, BEFORE, "- | |", True),
    (RECURS, BEFORE, "- | | , r", False),
    (RECURS, BEFORE, "- | , r", True),
    (RECURS, AFTER, "- | , q | , p", True),
    (RECURS, AFTER, "q | , - |", False),
    (LEADS_TO, GLOBALLY, "p | , s", True),
    (LEADS_TO, GLOBALLY, "p | | , s", False),
    (LEADS_TO, GLOBALLY, "ps | | , -", True),
    # The first beginning is the first to be late.
    (LEADS_TO, GLOBALLY, "p | , - , p | , s", False),
    (LEADS_TO, GLOBALLY, "p | , s , p | , s", True),
    (LEADS_TO, BEFORE, "p | , r", False),
    (LEADS_TO, BEFORE, "p | , s , r", True),
    (LEADS_TO, BEFORE, "p | , rs", False),
    (LEADS_TO, BEFORE, "p | | , s", True),
    (LEADS_TO, BEFORE, "p | | , s , r", False),
    (LEADS_TO, AFTER_UNTIL, "q , p | , r", False),
    (LEADS_TO, AFTER_UNTIL, "p | | , q", True),
    # What is true at power-up begins there.
    (AT_LEAST, GLOBALLY, "p | , -", False),
    (AT_LEAST, GLOBALLY, "p | | , -", True),
    (AT_LEAST, GLOBALLY, "- | , p | , -", False),
    (AT_LEAST, GLOBALLY, "- , p | , p | , -", True),
    (AT_LEAST, GLOBALLY, "- , p |", True),
    # What began before the scope opened is none of its concern.
    (AT_LEAST, AFTER, "p , pq | , -", True),
    (AT_LEAST, AFTER, "q , p | , -", False),
    (AT_LEAST, AFTER_UNTIL, "q , p | , r", True),
    (AT_LEAST, AFTER_UNTIL, "q , p | , -", False),
    (STAYS, GLOBALLY, "ps , s | | , -", True),
    (STAYS, GLOBALLY, "ps | , -", False),
    (STAYS, GLOBALLY, "p", False),
    # Where it was true last, most is to come.
    (STAYS, GLOBALLY, "ps | , s | , -", False),
    (STAYS, GLOBALLY, "ps | , s | | , -", True),
    (STAYS, GLOBALLY, "ps | , ps | , -", False),
    (STAYS, GLOBALLY, "ps | , - , ps | | , -", False),
    (STAYS, BEFORE, "ps | , r", True),
    (STAYS, BEFORE, "ps | , - , r", False),
    (STAYS, BEFORE, "ps | , -", True),
    (STAYS, AFTER, "p , qs", True),
    (STAYS, AFTER, "pqs | , -", False),
    (STAYS, BETWEEN, "q , p , r", False),
    (NOT_YET, GLOBALLY, "p | , s", False),
    (NOT_YET, GLOBALLY, "p | | , s", True),
    (NOT_YET, GLOBALLY, "- , ps", False),
    (NOT_YET, GLOBALLY, "- , p | , p | , s", True),
    (NOT_YET, GLOBALLY, "p | , - , p | , s", False),
    (NOT_YET, AFTER, "p , q , s", True),
    (NOT_YET, AFTER_UNTIL, "q , p | , rs", True),
    (NOT_YET, AFTER_UNTIL, "q , p | , s", False),
]
CASES = [pytest.param(*f, id=f"{f[0].value}, {f[1].value}: {f[2]}") for f in FACTS]


def spelled(trace: str) -> list[dict[str, bool]]:
    """The states, each with whether a unit of time led to it."""
    word = []
    for state in trace.split(","):
        letters, *bars = state.split()
        holding = {name: name in letters for name in "psqr"}
        word.append({**holding, "scan": False})
        word += [{**holding, "scan": True} for _ in bars]
    return word


@pytest.mark.parametrize(("pattern", "kind", "trace", "known"), CASES)
def test_the_formula_judges_the_trace_as_its_sentence_says(
    pattern: Pattern, kind: ScopeKind, trace: str, known: bool
) -> None:
    word = spelled(trace)
    assert holds(pattern, kind, word, len(word) - 1, UNITS) is known


@pytest.mark.parametrize("asking", [ask, observe], ids=["ask", "observe"])
@pytest.mark.parametrize(("pattern", "kind", "trace", "known"), CASES)
def test_a_question_judges_the_trace_as_its_sentence_says(
    asking: Callable[[System, Requirement], Question],
    pattern: Pattern,
    kind: ScopeKind,
    trace: str,
    known: bool,
) -> None:
    word = spelled(trace)

    def where(name: str) -> Expr:
        return or_(*(is_("place", n) for n, letter in enumerate(word) if letter[name]))

    steps = []
    for n, m in pairwise(range(len(word))):
        made = move(f"to {m}", is_("place", n), {"place": m})
        led_by = MoveKind.TIME if word[m]["scan"] else MoveKind.PLANT
        steps.append(Move(made.name, led_by, made.guard, made.updates))
    of = system({"place": (0, max(1, len(word) - 1), 0)}, *steps)
    scope = Scope(kind, where("q"), where("r"))
    requirement = Requirement(
        "R", pattern, where("p"), where("s"), scope, within=UNITS, counted=MoveKind.TIME
    )
    question = asking(of, requirement)
    answers = ReferenceEngine().explore(question.system, question.violations).answers
    assert any(answer.found for answer in answers) is not known


def test_what_is_judged_behind_scans_alone_is_not_observed_in_time() -> None:
    of = system({"place": (0, 1, 0)})
    asked = Requirement("R", AT_MOST, is_("place", 1), within=UNITS, counted=MoveKind.TIME)
    assert observe_in_time(of, asked).requirement is asked
    with pytest.raises(ValueError, match="has no meaning in time"):
        observe_in_time(of, replace(asked, after_scan=True))


@pytest.mark.parametrize(
    ("within", "counted", "known"),
    [(2, MoveKind.TIME, True), (2, MoveKind.SCAN, False), (None, MoveKind.TIME, False)],
)
def test_only_a_bound_in_units_of_time_is_one_in_time(
    within: int | None, counted: MoveKind, known: bool
) -> None:
    p = is_("place", 1)
    assert is_in_time(Requirement("R", LEADS_TO, p, p, within=within, counted=counted)) is known
