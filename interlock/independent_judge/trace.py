"""The published formulas of the patterns, evaluated directly on one run.

Source: Dwyer, Avrunin and Corbett, "Patterns in property specifications for finite-state
verification", ICSE 1999, in linear temporal logic; W is weak until. Decisions where the
published versions leave something open are those of ``interlock.kernel.observe``: where Q and R
hold together no scope opens, and 'after Q' counts from the first Q.

A run is a sequence of states whose tail repeats for ever; a finite run repeats its last state.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from interlock.kernel.requirement import Pattern, ScopeKind

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

    def soon(self, a: Truths, ends: Truths, scans: int) -> Truths:
        """`a` comes before more than `scans` scans have passed, and before `ends`.

        Where scans cease, no time passes that could run out.
        """
        return [self._comes_soon(n, a, ends, scans) for n in range(len(self.word))]

    def _comes_soon(self, n: int, a: Truths, ends: Truths, scans: int) -> bool:
        passed = 0
        # Each round of the loop passes a scan, or none ever does.
        for _ in range((scans + 2) * len(self.word)):
            if ends[n] or a[n]:
                return not ends[n]
            if passed == scans:
                return False
            n, before = (n + 1 if n + 1 < len(self.word) else self.loop_start), n
            passed += bool(n != before and self.word[n]["scan"])
        return True

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


def where(a: Truths, b: Truths) -> Truths:
    """Implication."""
    return either(no(a), b)


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
        For 'leads to': the most scans that may pass before the response.

    Raises
    ------
    ValueError
        For a pattern without a formula, or a loop outside the run.
    """
    run = Run(word, loop_start)
    p, s, q, r = (run.atom(name) for name in "psqr")
    match pattern:
        case Pattern.NEVER:
            return _universal(run, scope, no(p), q, r)[0]
        case Pattern.ALWAYS:
            return _universal(run, scope, p, q, r)[0]
        case Pattern.EXISTS:
            return _existence(run, scope, p, q, r)[0]
        case Pattern.ONLY_AFTER:
            return _precedence(run, scope, p, s, q, r)[0]
        case Pattern.LEADS_TO:
            return _response(run, scope, q, r, _answered(run, scope, p, s, r, within))[0]
        case _:
            raise ValueError(f"'{pattern.value}' is no property of one run")


def _universal(run: Run, scope: ScopeKind, p: Truths, q: Truths, r: Truths) -> Truths:
    opens = both(q, no(r))
    match scope:
        case ScopeKind.GLOBALLY:
            return run.always(p)
        case ScopeKind.BEFORE:
            return where(run.eventually(r), run.until(p, r))
        case ScopeKind.AFTER:
            return run.always(where(q, run.always(p)))
        case ScopeKind.BETWEEN:
            return run.always(where(both(opens, run.eventually(r)), run.until(p, r)))
        case _:
            return run.always(where(opens, run.weak_until(p, r)))


def _existence(run: Run, scope: ScopeKind, p: Truths, q: Truths, r: Truths) -> Truths:
    inside = both(p, no(r))
    opens = both(q, no(r))
    match scope:
        case ScopeKind.GLOBALLY:
            return run.eventually(p)
        case ScopeKind.BEFORE:
            return run.weak_until(no(r), inside)
        case ScopeKind.AFTER:
            return _from_first(run, q, run.eventually(p))
        case ScopeKind.BETWEEN:
            return run.always(where(opens, run.weak_until(no(r), inside)))
        case _:
            return run.always(where(opens, run.until(no(r), inside)))


def _precedence(run: Run, scope: ScopeKind, p: Truths, s: Truths, q: Truths, r: Truths) -> Truths:
    opens = both(q, no(r))
    ended = either(s, r)
    match scope:
        case ScopeKind.GLOBALLY:
            return run.weak_until(no(p), s)
        case ScopeKind.BEFORE:
            return where(run.eventually(r), run.until(no(p), ended))
        case ScopeKind.AFTER:
            return _from_first(run, q, run.weak_until(no(p), s))
        case ScopeKind.BETWEEN:
            return run.always(where(both(opens, run.eventually(r)), run.until(no(p), ended)))
        case _:
            return run.always(where(opens, run.weak_until(no(p), ended)))


def _answered(
    run: Run, scope: ScopeKind, p: Truths, s: Truths, r: Truths, within: int | None
) -> Truths:
    """P is followed by S, before the scope closes and within the bound."""
    closes = [False] * len(p) if scope in (ScopeKind.GLOBALLY, ScopeKind.AFTER) else r
    if within is not None:
        return where(p, run.soon(s, closes, within))
    return where(p, run.until(no(closes), both(s, no(closes))))


def _response(run: Run, scope: ScopeKind, q: Truths, r: Truths, answered: Truths) -> Truths:
    opens = both(q, no(r))
    match scope:
        case ScopeKind.GLOBALLY:
            return run.always(answered)
        case ScopeKind.BEFORE:
            return where(run.eventually(r), run.until(answered, r))
        case ScopeKind.AFTER:
            return run.always(where(q, run.always(answered)))
        case ScopeKind.BETWEEN:
            return run.always(where(both(opens, run.eventually(r)), run.until(answered, r)))
        case _:
            return run.always(where(opens, run.weak_until(answered, r)))


def _from_first(run: Run, q: Truths, then: Truths) -> Truths:
    """``then`` at the first state with q, if there is one."""
    return run.weak_until(no(q), both(q, then))
