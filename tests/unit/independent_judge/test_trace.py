"""The operators on endless runs against their definition, on every run of up to three states."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product

import pytest

from interlock.independent_judge.trace import Run, holds
from interlock.kernel.requirement import Pattern, ScopeKind

WORDS = [
    ([bool(a) for a, _ in word], [bool(b) for _, b in word], loop)
    for length in (1, 2, 3)
    for word in product(product((0, 1), repeat=2), repeat=length)
    for loop in range(length)
]


def onward(n: int, length: int, loop: int) -> Iterator[int]:
    """The positions from `n` on, as many as it takes to have seen all that ever come."""
    for _ in range(2 * length):
        yield n
        n = n + 1 if n < length - 1 else loop


def is_until(a: list[bool], b: list[bool], n: int, loop: int) -> bool:
    for at in onward(n, len(a), loop):
        if b[at]:
            return True
        if not a[at]:
            return False
    return False


def test_until_always_and_eventually_are_what_they_are_defined_as() -> None:
    for a, b, loop in WORDS:
        run, places = Run([{}] * len(a), loop), range(len(a))
        until = [is_until(a, b, n, loop) for n in places]
        always = [all(a[at] for at in onward(n, len(a), loop)) for n in places]
        assert run.until(a, b) == until
        assert run.always(a) == always
        assert run.weak_until(a, b) == [x or y for x, y in zip(until, always, strict=True)]
        assert run.eventually(b) == [any(b[at] for at in onward(n, len(a), loop)) for n in places]


@pytest.mark.parametrize(
    ("states", "loop", "within", "kept"),
    [
        # A letter for each of p and s that holds, and n where a scan led to the state.
        (["p", "n", "n"], 2, 1, False),
        (["p", "n", "ns"], 2, 1, False),
        (["p", "n", "ns"], 2, 2, True),
        (["p", "", "ns"], 2, 1, True),
        (["ps", "n"], 1, 0, True),
        (["p", "s", "n"], 2, 0, False),
        # Scans cease, so no time passes that could run out.
        (["p", "n", ""], 2, 2, True),
        (["p", ""], 1, 1, True),
        # A loop scans on for ever.
        (["", "p", "n"], 1, 5, False),
        (["s", "p", "n"], 0, 1, False),
        (["s", "p", "n"], 0, 2, True),
        (["ns", "p", "n", "n"], 0, 2, False),
        (["ns", "p", "n", "n"], 0, 3, True),
    ],
)
def test_a_bound_counts_the_scans_since_the_premise(
    states: list[str], loop: int, within: int, kept: bool
) -> None:
    letters = {"p": "p", "s": "s", "q": "q", "r": "r", "scan": "n"}
    word = [{name: letter in state for name, letter in letters.items()} for state in states]
    assert holds(Pattern.LEADS_TO, ScopeKind.GLOBALLY, word, loop, within) is kept
