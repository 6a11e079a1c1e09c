"""Responses within a number of scans: search and observer against the formula, on every engine."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.independent_judge.trace import holds
from interlock.kernel.asking import Question, ask, scans_taken
from interlock.kernel.expr import Expr, or_
from interlock.kernel.observe import observe
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import Reach
from interlock.kernel.requirement import Pattern, Requirement, Scope, ScopeKind
from interlock.kernel.system import Move, MoveKind, System
from tests.second_opinion.watching import Seen, Watcher
from tests.support.build import is_, move, system
from tests.support.engines import ENGINES, explore_with

Word = list[dict[str, bool]]
Asking = Callable[[System, Requirement], Question]

SETTINGS = settings(max_examples=75, deadline=None, suppress_health_check=[HealthCheck.too_slow])
letters = st.fixed_dictionaries(dict.fromkeys(["p", "s", "q", "r", "scan"], st.booleans()))
words = st.lists(letters, min_size=1, max_size=7)


def speller(word: Word, loop_start: int) -> System:
    """A system with one run, which spells the word; a letter's ``scan`` says what leads to it."""
    last = len(word) - 1
    following = [(n, n + 1) for n in range(last)]
    if loop_start < last:
        following.append((last, loop_start))

    def to(n: int, target: int) -> Move:
        made = move(f"{n} to {target}", is_("place", n), {"place": target})
        kind = MoveKind.SCAN if word[target]["scan"] else MoveKind.PLANT
        return Move(made.name, kind, made.guard, made.updates)

    return system({"place": (0, max(last, 1), 0)}, *(to(*pair) for pair in following))


def requirement_on(word: Word, kind: ScopeKind, within: int) -> Requirement:
    def where(name: str) -> Expr:
        return or_(*(is_("place", n) for n, letter in enumerate(word) if letter[name]))

    scope = Scope(kind, where("q"), where("r"))
    return Requirement("R", Pattern.LEADS_TO, where("p"), where("s"), scope, within=within)


def is_violated(
    engine: str, word: Word, loop_start: int, requirement: Requirement, asking: Asking = ask
) -> bool:
    question = asking(speller(word, loop_start), requirement)
    assert all(isinstance(query, Reach) for query in question.violations)
    answers = explore_with(engine, question.system, question.violations).answers
    return any(answer.found for answer in answers)


def check_one(engine: str, kind: ScopeKind, data: st.DataObject, asking: Asking = ask) -> None:
    word = data.draw(words)
    loop_start = data.draw(st.integers(0, len(word) - 1))
    within = data.draw(st.integers(1, 3))
    found = is_violated(engine, word, loop_start, requirement_on(word, kind, within), asking)
    assert found is not holds(Pattern.LEADS_TO, kind, word, loop_start, within)


@pytest.mark.parametrize("asking", [ask, observe])
@pytest.mark.parametrize("kind", ScopeKind, ids=lambda kind: kind.value)
@given(data=st.data())
@SETTINGS
def test_a_late_response_is_found_exactly_where_it_refutes_the_formula(
    asking: Asking, kind: ScopeKind, data: st.DataObject
) -> None:
    check_one("reference", kind, data, asking)


@pytest.mark.parametrize("engine", [name for name in ENGINES if name != "reference"])
@pytest.mark.parametrize("kind", ScopeKind, ids=lambda kind: kind.value)
@given(data=st.data())
@settings(SETTINGS, max_examples=8)  # each one is compiled
def test_every_engine_finds_late_responses(
    kind: ScopeKind, engine: str, data: st.DataObject
) -> None:
    check_one(engine, kind, data)


@given(word=words, data=st.data())
@SETTINGS
def test_a_bound_that_no_run_can_exceed_is_no_bound(word: Word, data: st.DataObject) -> None:
    # Without a scan for ever, no bound runs out: such runs are left to the pattern without one.
    for kind in ScopeKind:
        loop_start = data.draw(st.integers(0, len(word) - 1))
        if not holds(Pattern.LEADS_TO, kind, word, loop_start, 2 * len(word) + 1):
            assert not holds(Pattern.LEADS_TO, kind, word, loop_start)
        if holds(Pattern.LEADS_TO, kind, word, loop_start, 1):
            assert holds(Pattern.LEADS_TO, kind, word, loop_start, 2)


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("n_scans", [0, 1, 2, 3])
def test_the_scans_until_the_response_are_measured(n_scans: int, engine: str) -> None:
    blank = dict.fromkeys(["p", "s", "q", "r"], False)
    word = [{**blank, "p": True, "scan": False}]
    word += [{**blank, "scan": True} for _ in range(n_scans)]
    word.append({**blank, "scan": False})
    word[n_scans or 1]["s"] = True
    question = ask(speller(word, len(word) - 1), requirement_on(word, ScopeKind.GLOBALLY, 3))
    queries = [*question.violations, *question.measures]
    violated, measured = explore_with(engine, question.system, queries).answers
    assert not violated.found
    assert scans_taken(question.requirement, [measured]) == n_scans


@pytest.mark.parametrize("engine", ENGINES)
def test_a_response_that_came_late_is_not_measured(engine: str) -> None:
    # Before R that never comes there is nothing to violate, and nothing that came in time.
    blank = dict.fromkeys(["p", "s", "q", "r"], False) | {"scan": True}
    word = [{**blank, "p": True, "scan": False}, blank, blank, {**blank, "s": True}]
    question = ask(speller(word, len(word) - 1), requirement_on(word, ScopeKind.BEFORE, 1))
    queries = [*question.violations, *question.measures]
    violated, measured = explore_with(engine, question.system, queries).answers
    assert not violated.found
    assert scans_taken(question.requirement, [measured]) is None


def test_every_short_word_is_judged_as_its_formula_says() -> None:
    alphabet = [
        dict(zip(["p", "s", "scan"], bits, strict=True)) | {"q": False, "r": False}
        for bits in product((False, True), repeat=3)
    ]
    for word in map(list, product(alphabet, repeat=3)):
        for loop_start in range(3):
            requirement = requirement_on(word, ScopeKind.GLOBALLY, 1)
            found = is_violated("reference", word, loop_start, requirement)
            assert found is not holds(
                Pattern.LEADS_TO, ScopeKind.GLOBALLY, word, loop_start, within=1
            )


def a_word_in_time(by: random.Random) -> list[dict[str, bool]]:
    """A run in which truth changes by moves alone, and time passes between them."""
    word = [{letter: by.random() < 0.4 for letter in "psqr"} | {"scan": False}]
    for _ in range(by.randint(0, 9)):
        if by.random() < 0.5:
            word.append(word[-1] | {"scan": True})
        else:
            word.append({c: by.random() < 0.4 for c in "psqr"} | {"scan": False})
    return word


IN_TIME = [
    (p, s)
    for p, row in PATTERNS.items()
    if row.is_timed or p is Pattern.LEADS_TO
    for s in ScopeKind
    if s in row.scopes
]


def timed_speller(word: Word) -> System:
    """As `speller`, for what counts units of time."""
    spelled = speller(word, len(word) - 1)
    kinds = {MoveKind.SCAN: MoveKind.TIME}
    return spelled.with_moves([replace(m, kind=kinds.get(m.kind, m.kind)) for m in spelled.moves])


@pytest.mark.parametrize("asking", [ask, observe])
@pytest.mark.parametrize(("pattern", "scope"), IN_TIME)
def test_what_is_asked_in_time_is_found_exactly_where_it_refutes_the_formula(
    pattern: Pattern, scope: ScopeKind, asking: Asking
) -> None:
    by = random.Random(f"{scope} {pattern}")
    n_kept = Counter[bool]()
    for _ in range(140):
        word, within = a_word_in_time(by), by.randint(1, 2)
        asked = requirement_on(word, scope, within)
        asked = replace(asked, pattern=pattern, counted=MoveKind.TIME)
        question = asking(timed_speller(word), asked)
        answers = explore_with("reference", question.system, question.violations).answers
        is_kept = holds(pattern, scope, word, len(word) - 1, within)
        assert any(answer.found for answer in answers) is not is_kept, (word, within)
        n_kept[is_kept] += 1
    assert min(n_kept[True], n_kept[False]) > 2, n_kept


@pytest.mark.parametrize(("pattern", "scope"), IN_TIME)
def test_what_is_asked_in_time_agrees_with_a_watch_that_reads_along(
    pattern: Pattern, scope: ScopeKind
) -> None:
    by = random.Random(f"{pattern} {scope}")
    n_kept = Counter[bool]()
    for _ in range(400):
        word, within = a_word_in_time(by), by.randint(1, 2)
        watcher = Watcher(pattern, scope, within)
        watch, is_violated = watcher.first, False
        for state in word:
            watch = watcher.scanned(watch) if state["scan"] else watch
            step = watcher.see(watch, Seen(state["p"], state["s"], state["q"], state["r"]))
            watch, is_violated = step.watch, is_violated or step.is_violated
        # What stays as it is for ever, in no time, adds nothing.
        is_kept = holds(pattern, scope, word, len(word) - 1, within)
        assert is_kept is not is_violated, (word, within)
        n_kept[is_kept] += 1
    assert min(n_kept[True], n_kept[False]) > 15, n_kept


def test_a_bound_of_many_units_is_judged_in_one_pass_over_the_run() -> None:
    # Counting anew from each state would be 200 million steps, and minutes.
    n = 20_000
    blank = dict.fromkeys("psqr", False)
    word = [blank | {"p": True, "scan": False}, *[blank | {"scan": True} for _ in range(n)]]
    for pattern in (Pattern.LEADS_TO, Pattern.RECURS):
        assert not holds(pattern, ScopeKind.GLOBALLY, word, n, n // 2)
        assert holds(pattern, ScopeKind.GLOBALLY, word, n, n + 1)
