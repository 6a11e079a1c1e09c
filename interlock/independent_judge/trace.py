"""The published formulas of the patterns, evaluated directly on one run.

They stand with their source in `interlock.model.patterns`; here they are read as written.

A run is a sequence of states whose tail repeats for ever; a finite run repeats its last state.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from math import inf

from interlock.kernel import patterns
from interlock.kernel.requirement import Pattern, ScopeKind
from interlock.model.patterns import PATTERNS

Word = Sequence[Mapping[str, bool]]
# A formula on one run: its truth at every position up to the end of the first round of the loop.
Truths = list[bool]


class Run:
    """A run and the operators of linear temporal logic over its positions.

    Parameters
    ----------
    word : sequence of mapping of str to bool
        Truth of ``p``, ``s``, ``q`` and ``r`` in each state; at least one state.
    loop_start : int
        Position that follows the last one.
    """

    def __init__(self, word: Word, loop_start: int) -> None:
        if not 0 <= loop_start < len(word):
            raise ValueError(f"a loop to position {loop_start} in a run of {len(word)} states")
        self.word = word
        self.loop_start = loop_start

    def atom(self, name: str) -> Truths:
        """Where the predicate `name` holds."""
        return [bool(state[name]) for state in self.word]

    def until(self, a: Truths, b: Truths) -> Truths:
        """``a U b``: b comes, and a holds up to there."""
        return self._fixpoint(lambda n, later: b[n] or (a[n] and later), start=False)

    def weak_until(self, a: Truths, b: Truths) -> Truths:
        """``a W b``: a holds up to b, or for ever."""
        return self._fixpoint(lambda n, later: b[n] or (a[n] and later), start=True)

    def always(self, a: Truths) -> Truths:
        """``G a``."""
        return self.weak_until(a, [False] * len(a))

    def eventually(self, a: Truths) -> Truths:
        """``F a``."""
        return self.until([True] * len(a), a)

    def until_in_time(self, a: Truths, b: Truths, scans: int) -> Truths:
        """``a V b``: b comes before more than `scans` scans have passed, and a holds up to there.

        With the last of these scans b comes at once. Where scans cease, no time passes that could
        run out.
        """
        passed, ends = self._up_to(either(b, no(a)))
        for_ever = self._passing_for_ever()
        found = []
        for n, end in enumerate(ends):
            if end is None:
                found.append(for_ever[n] < scans)
                continue
            is_just = passed[n] == scans and (end == n or bool(self.word[end]["scan"]))
            found.append(b[end] and (passed[n] < scans or is_just))
        return found

    def _up_to(self, stops: Truths) -> tuple[list[int], list[int | None]]:
        """From each position the scans that pass up to the first stop, and where that is."""
        passed = [0] * len(self.word)
        ends: list[int | None] = [None] * len(self.word)
        # Two rounds backwards carry every value round the loop once.
        for _ in range(2):
            for n in reversed(range(len(self.word))):
                after = n + 1 if n + 1 < len(self.word) else self.loop_start
                if stops[n]:
                    passed[n], ends[n] = 0, n
                else:
                    is_scan = after != n and bool(self.word[after]["scan"])
                    passed[n], ends[n] = passed[after] + is_scan, ends[after]
        return passed, ends

    def _passing_for_ever(self) -> list[float]:
        """How many scans pass in all behind each position."""
        last = len(self.word) - 1
        passing = [0.0] * len(self.word)
        if last > self.loop_start and any(state["scan"] for state in self.word[self.loop_start :]):
            passing[last] = inf
        for n in reversed(range(last)):
            passing[n] = passing[n + 1] + bool(self.word[n + 1]["scan"])
        return passing

    def following(self, a: Truths) -> Truths:
        """``X a``: a holds at the next position."""
        return [*a[1:], a[self.loop_start]]

    def weak_until_in_time(self, a: Truths, b: Truths, units: int) -> Truths:
        """``a K b``: a holds up to b, or until so many units of time have passed."""
        passed, ends = self._up_to(either(b, no(a)))
        return [end is None or b[end] or passed[n] >= units for n, end in enumerate(ends)]

    def _fixpoint(self, step: Callable[[int, bool], bool], start: bool) -> Truths:
        truths = [start] * len(self.word)
        # Two rounds backwards carry every value round the loop once.
        for _ in range(2):
            for n in reversed(range(len(self.word))):
                after = n + 1 if n + 1 < len(self.word) else self.loop_start
                truths[n] = step(n, truths[after])
        return truths


def no(a: Truths) -> Truths:
    """Negation."""
    return [not x for x in a]


def both(a: Truths, b: Truths) -> Truths:
    """Conjunction."""
    return [x and y for x, y in zip(a, b, strict=True)]


def either(a: Truths, b: Truths) -> Truths:
    """Disjunction."""
    return [x or y for x, y in zip(a, b, strict=True)]


def holds(
    pattern: Pattern, scope: ScopeKind, word: Word, loop_start: int, within: int | None = None
) -> bool:
    """Whether the requirement's formula holds on the run.

    Parameters
    ----------
    pattern : Pattern
        Any but 'can always still', which no single run can refute.
    scope : ScopeKind
    word : sequence of mapping of str to bool
        Truth of ``p``, ``s``, ``q``, ``r`` in each state; with `within` also of ``scan``, whether
        a scan led to it.
    loop_start : int
        Position that follows the last one; the last itself for a finite run, in which no scan
        passes any more.
    within : int, optional
        For 'leads to': the most scans that may pass before the response; of a requirement in time
        the units that are too many, or just enough.

    Raises
    ------
    ValueError
        For a pattern without a formula, or a loop outside the run.
    """
    row = PATTERNS[pattern]
    if not patterns.PATTERNS[pattern].is_of_runs:
        raise ValueError(f"'{pattern.value}' is no property of one run")
    return truths(row.formula(scope, within is not None), Run(word, loop_start), within or 0)[0]


_TOKEN = re.compile(r"->|[A-Z!&|()]")


def truths(formula: str, run: Run, within: int = 0) -> Truths:
    """Where a formula of linear temporal logic holds on `run`.

    Parameters
    ----------
    formula : str
        Over P, S, Q and R; ``!``, ``G``, ``F``, ``X`` (next), ``D`` (F in time) and ``H`` (for
        the time) bind closest, then ``U``, ``W``, ``V`` and ``K`` (U and W in time), ``&``, ``|``
        and ``->``.
    run : Run
    within : int
        The most scans that may pass, for what comes in time.

    Examples
    --------
    >>> truths("!P W S", Run([{"p": True, "s": False}, {"p": False, "s": True}], 1))
    [False, True]
    """
    return _Reading(formula, run, within).whole()


class _Reading:
    """A formula read from left to right, each part evaluated where it ends."""

    def __init__(self, formula: str, run: Run, within: int) -> None:
        self._tokens = _TOKEN.findall(formula)
        self._run = run
        self._within = within

    def whole(self) -> Truths:
        found = self._implied()
        if self._tokens:
            raise ValueError(f"a formula ends before '{self._tokens[0]}'")
        return found

    def _took(self, *tokens: str) -> str:
        """The next token if it is one of these, else nothing."""
        return self._tokens.pop(0) if self._tokens and self._tokens[0] in tokens else ""

    def _implied(self) -> Truths:
        left = self._disjoined()
        return either(no(left), self._implied()) if self._took("->") else left

    def _disjoined(self) -> Truths:
        left = self._joined()
        while self._took("|"):
            left = either(left, self._joined())
        return left

    def _joined(self) -> Truths:
        left = self._until()
        while self._took("&"):
            left = both(left, self._until())
        return left

    def _until(self) -> Truths:
        left = self._single()
        while taken := self._took("U", "W", "V", "K"):
            right = self._single()
            match taken:
                case "U":
                    left = self._run.until(left, right)
                case "W":
                    left = self._run.weak_until(left, right)
                case "V":
                    left = self._run.until_in_time(left, right, self._within)
                case _:
                    left = self._run.weak_until_in_time(left, right, self._within)
        return left

    def _single(self) -> Truths:
        match self._tokens.pop(0):
            case "!":
                return no(self._single())
            case "G":
                return self._run.always(self._single())
            case "F":
                return self._run.eventually(self._single())
            case "(":
                inner = self._implied()
                if not self._took(")"):
                    raise ValueError("a formula lacks a ')'")
                return inner
            case "X":
                return self._run.following(self._single())
            case "H":
                inner = self._single()
                never = [False] * len(inner)
                return self._run.weak_until_in_time(inner, never, self._within)
            case "D":
                inner = self._single()
                return self._run.until_in_time([True] * len(inner), inner, self._within)
            case atom:
                return self._run.atom(atom.lower())
