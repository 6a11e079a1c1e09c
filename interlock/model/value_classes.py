"""Which values of a wide input a program can tell apart.

An input is *observed* by expressions that depend on nothing else: two values on which all of these
agree may stand for each other. A variable that only ever takes a copy of the input carries its
values on, and is observed with it. Where the input meets another variable, in a sum or in a
comparison, every value may matter, and there are no classes.

One value of each class then does what every value of the class does: the system with all values
and the one with these are bisimilar, since each step reads the input, and its copies, only through
the observations (Milner, "Communication and Concurrency", 1989).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import bounds, python_function
from interlock.kernel.expr import Expr, Op

# An author can still survey so many values of one input.
MOST_CLASSES = 64
# Intervals are halved at most so often; what is then not settled is tried value by value.
_MOST_INTERVALS = 4096
_MOST_TRIED = 65_536

# Of a class with more parts only how many values it has, and a mark of them, are told.
_MOST_TOLD = 4

_INPUT = "class.value"


@dataclass(frozen=True)
class ValueClass:
    """A value that stands for others.

    Attributes
    ----------
    value : int
        The least of them in absolute terms, so that 0 stands for its class.
    least, greatest : int
        Between these the class lies; where it `is_whole`, it is all that lies between.
    spans : tuple of (int, int)
        Where it is not whole, its parts in order, both ends included.
    """

    value: int
    least: int
    greatest: int
    is_whole: bool
    spans: tuple[tuple[int, int], ...] = ()

    @property
    def says(self) -> str:
        """The value and what it stands for; different classes never say the same.

        Two models are taken to have the same control where its states are called the same.
        """
        if self.least == self.greatest:
            return str(self.value)
        if self.is_whole:
            return f"{self.value} of {self.least}..{self.greatest}"
        parts = [str(lo) if lo == hi else f"{lo}..{hi}" for lo, hi in self.spans]
        if len(parts) <= _MOST_TOLD:
            return f"{self.value} of {' and '.join(parts)}"
        mark = sha256(" ".join(parts).encode()).hexdigest()[:8]
        n_values = sum(hi - lo + 1 for lo, hi in self.spans)
        return f"{self.value} of {n_values:,} among {self.least}..{self.greatest} ({mark})"


def value_classes(
    name: str, span: tuple[int, int], roots: Iterable[Expr], updates: Mapping[str, Expr]
) -> tuple[ValueClass, ...] | None:
    """One value for each class of the input, or None where it has too many.

    Parameters
    ----------
    name : str
        The variable that stands for the input.
    span : (int, int)
        Its least and greatest value.
    roots : iterable of Expr
        Everything that is asked but no update: flaws, requirements, guards.
    updates : mapping of str to Expr
        What a scan makes of each variable.
    """
    observed = _observations(name, list(roots), updates)
    if observed is None:
        # Every value may matter; few enough stand each for itself.
        few = range(span[0], span[1] + 1)
        return tuple(ValueClass(v, v, v, True) for v in few) if len(few) <= MOST_CLASSES else None
    found = _by_halving(observed, span)
    if found is None and span[1] - span[0] < _MOST_TRIED:
        found = _by_trying(observed, span)
    return found


def _observations(name: str, roots: list[Expr], updates: Mapping[str, Expr]) -> list[Expr] | None:
    """What tells values of the input, or of its copies, apart, each over `_INPUT`."""
    copies = {name}
    grown = True
    while grown:
        grown = False
        for target, update in updates.items():
            if target not in copies and any(leaf in copies for leaf in _copied(update)):
                copies.add(target)
                grown = True
    seen = _Seen(copies)
    for root in roots:
        seen.look(root, may_copy=False)
    for target, update in updates.items():
        seen.look(update, may_copy=target in copies)
    if seen.is_mixed:
        return None
    replaced = dict.fromkeys(copies, ex.var(_INPUT))
    return list(dict.fromkeys(ex.substitute(seen.found, replaced)))


def _copied(update: Expr) -> list[str]:
    """The variables that an update hands on unchanged."""
    found: list[str] = []
    stack, done = [update], set[Expr]()
    while stack:
        node = stack.pop()
        if node in done:
            continue
        done.add(node)
        if node.op is Op.ITE:
            stack += node.args[1:]
        elif node.op is Op.VAR:
            found.append(node.name)
    return found


class _Seen:
    """Collects the largest expressions that depend on one copy only."""

    def __init__(self, copies: set[str]) -> None:
        self._copies = copies
        self._on: dict[Expr, frozenset[str]] = {}
        self._done: set[tuple[Expr, bool]] = set()
        self.found: list[Expr] = []
        self.is_mixed = False

    def _names(self, root: Expr) -> frozenset[str]:
        for node in ex.topological([root], self._on):
            if node.op is Op.VAR:
                self._on[node] = frozenset((node.name,))
            else:
                self._on[node] = frozenset().union(*(self._on[a] for a in node.args))
        return self._on[root]

    def look(self, root: Expr, may_copy: bool) -> None:
        """Look at what reads a copy below `root`; `may_copy` where it is handed on to one."""
        stack = [(root, may_copy)]
        while stack:
            node, copies_on = stack.pop()
            if (node, copies_on) in self._done:
                continue
            self._done.add((node, copies_on))
            names = self._names(node)
            if not names & self._copies:
                continue
            if node.op is Op.VAR:
                self.is_mixed |= not copies_on
            elif len(names) == 1 and not (copies_on and node.op is Op.ITE):
                self.found.append(node)
            elif node.op is Op.ITE:
                stack.append((node.args[0], False))
                stack += [(branch, copies_on) for branch in node.args[1:]]
            else:
                stack += [(argument, False) for argument in node.args]


def _by_halving(observed: Sequence[Expr], span: tuple[int, int]) -> tuple[ValueClass, ...] | None:
    """Classes as unions of intervals on each of which every observation is constant."""
    pieces: list[tuple[tuple[int, ...], int, int]] = []
    stack = [span]
    while stack:
        if len(stack) + len(pieces) > _MOST_INTERVALS:
            return None
        lo, hi = stack.pop()
        known = bounds(observed, {_INPUT: (lo, hi)})
        values = [known[e] for e in observed]
        if all(least == greatest for least, greatest in values):
            pieces.append((tuple(least for least, _ in values), lo, hi))
        elif lo == hi:
            pieces.append((python_function(observed, {_INPUT: 0})((lo,)), lo, hi))
        else:
            middle = (lo + hi) // 2
            stack += [(middle + 1, hi), (lo, middle)]
    return _grouped(pieces)


def _by_trying(observed: Sequence[Expr], span: tuple[int, int]) -> tuple[ValueClass, ...] | None:
    compute = python_function(observed, {_INPUT: 0})
    pieces = []
    signatures: set[tuple[int, ...]] = set()
    for value in range(span[0], span[1] + 1):
        signature = compute((value,))
        signatures.add(signature)
        if len(signatures) > MOST_CLASSES:
            return None
        pieces.append((signature, value, value))
    return _grouped(pieces)


def _grouped(pieces: Iterable[tuple[tuple[int, ...], int, int]]) -> tuple[ValueClass, ...] | None:
    groups: dict[tuple[int, ...], list[tuple[int, int]]] = {}
    for signature, lo, hi in sorted(pieces, key=lambda piece: piece[1]):
        groups.setdefault(signature, []).append((lo, hi))
    if len(groups) > MOST_CLASSES:
        return None
    found = []
    for spans in groups.values():
        nearest = min((min(max(lo, 0), hi) for lo, hi in spans), key=lambda v: (abs(v), v < 0))
        least, greatest = spans[0][0], spans[-1][1]
        is_whole = sum(hi - lo + 1 for lo, hi in spans) == greatest - least + 1
        joined = () if is_whole else _joined(spans)
        found.append(ValueClass(nearest, least, greatest, is_whole, joined))
    return tuple(sorted(found, key=lambda c: c.value))


def _joined(spans: Sequence[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """The same values in as few spans as can be; they come in order."""
    found: list[tuple[int, int]] = []
    for lo, hi in spans:
        if found and found[-1][1] == lo - 1:
            found[-1] = found[-1][0], hi
        else:
            found.append((lo, hi))
    return tuple(found)
