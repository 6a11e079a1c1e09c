"""Which values of a wide input a program can tell apart.

An input is *observed* by expressions that depend on nothing else: two values on which all of these
agree may stand for each other. A variable that only ever takes a copy of the input carries its
values on, and is observed with it. Where the input meets another variable in a
sum, every value may matter, and there are no classes. Where it is compared with something else, its
values above and below all values of that are alike, and each value between stands for itself.

One value of each class then does what every value of the class does: the system with all values
and the one with these are bisimilar, since each step reads the input, and its copies, only through
the observations (Milner, "Communication and Concurrency", 1989).

Where copies are also asked to be equal to each other, as one scan's value to the last one's, that
needs as many values of each class as there are copies: renaming values within a class, one to one,
changes no answer, and a new value always finds one that no copy holds (data independence: Wolper,
"Expressing interesting properties of programs in propositional temporal logic", POPL 1986).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

from interlock.kernel import expr as ex
from interlock.kernel.evaluate import bounds, python_function
from interlock.kernel.expr import Expr, Op

# An author can still survey so many values of one input.
MOST_CLASSES = 256
# Intervals are halved at most so often; what is then not settled is tried value by value.
_MOST_INTERVALS = 4096
# So many expressions are looked at for one input.
_MOST_LOOKED_AT = 5_000
_MOST_TRIED = 65_536

# Of a class with more parts only how many values it has, and a mark of them, are told.
_MOST_TOLD = 4

_INPUT = "class.value"


@dataclass(frozen=True)
class Domain:
    """Between which values a variable stays, and its first one."""

    lo: int
    hi: int
    initial: int = 0


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
    name: str,
    span: tuple[int, int],
    roots: Iterable[Expr],
    updates: Mapping[str, Expr],
    domains: Mapping[str, Domain],
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
    domains : mapping of str to Domain
        Between which values other variables stay, as far as that is known, and what they begin
        with.
    """
    seen = _observations(name, list(roots), updates, domains)
    if seen.is_mixed:
        # Every value may matter; few enough stand each for itself.
        few = range(span[0], span[1] + 1)
        return tuple(ValueClass(v, v, v, True) for v in few) if len(few) <= MOST_CLASSES else None
    replaced = dict.fromkeys(seen.copies, ex.var(_INPUT))
    observed = list(dict.fromkeys(ex.substitute(seen.found, replaced)))
    each = len(seen.copies) if seen.is_equated else 1
    found = _by_halving(observed, span, each)
    if found is None and span[1] - span[0] < _MOST_TRIED:
        found = _by_trying(observed, span, each)
    return found


def _observations(
    name: str,
    roots: list[Expr],
    updates: Mapping[str, Expr],
    domains: Mapping[str, Domain],
) -> _Seen:
    """What tells values of the input, or of its copies, apart, each over `_INPUT`."""
    copies = {name}
    grown = True
    while grown:
        grown = False
        for target, update in updates.items():
            if target not in copies and any(leaf in copies for leaf in _copied(update)):
                copies.add(target)
                grown = True
    seen = _Seen(copies, domains)
    for root in roots:
        seen.look(root, may_copy=False)
    for target, update in updates.items():
        seen.look(update, may_copy=target in copies)
    for target in copies & updates.keys() if seen.is_equated else ():
        seen.equate([*_handed_on(updates[target]), ex.const(domains[target].initial)])
    return seen


def _copied(update: Expr) -> list[str]:
    """The variables that an update hands on unchanged."""
    return [leaf.name for leaf in _handed_on(update) if leaf.op is Op.VAR]


def _handed_on(update: Expr) -> list[Expr]:
    """What an update chooses among."""
    found: list[Expr] = []
    stack, done = [update], set[Expr]()
    while stack:
        node = stack.pop()
        if node in done:
            continue
        done.add(node)
        if node.op is Op.ITE:
            stack += node.args[1:]
        else:
            found.append(node)
    return found


class _Seen:
    """Collects the largest expressions that depend on one copy only.

    Attributes
    ----------
    copies : set of str
        The input and its copies.
    found : list of Expr
    is_equated : bool
        Whether one copy is asked to be equal to another.
    is_mixed : bool
        Whether every value may matter.
    """

    def __init__(self, copies: set[str], domains: Mapping[str, Domain]) -> None:
        self.copies = copies
        self._spans = {name: (known.lo, known.hi) for name, known in domains.items()}
        self._on: dict[Expr, frozenset[str]] = {}
        self._done: set[tuple[Expr, bool]] = set()
        self.found: list[Expr] = []
        self.is_equated = False
        self.is_mixed = False

    def _names(self, root: Expr) -> frozenset[str]:
        for node in ex.topological([root], self._on):
            if node.op is Op.VAR:
                self._on[node] = frozenset((node.name,))
            else:
                self._on[node] = frozenset().union(*(self._on[a] for a in node.args))
        return self._on[root]

    def equate(self, values: Iterable[Expr]) -> None:
        """Look at what a copy that is compared with another may hold beside values of the input."""
        for value in values:
            if value.op is Op.CONST:
                self.found.append(ex.eq(ex.var(_INPUT), value))
            elif value.op is not Op.VAR or value.name not in self.copies:
                self.is_mixed = True

    def _compared(self, node: Expr) -> Expr | None:
        """What a comparison of one copy with something else tells apart; None if any value.

        Whatever the other side is between its least and its greatest value, values below it are
        alike, and so are those above.
        """
        for side, other in (node.args, node.args[::-1]):
            names, others = self._names(side), self._names(other)
            if len(names) == 1 and names <= self.copies and others <= self._spans.keys():
                lo, hi = bounds([other], self._spans)[other]
                return None if others & self.copies else ex.clamp(side, lo - 1, hi + 1)
        return None

    def look(self, root: Expr, may_copy: bool) -> None:
        """Look at what reads a copy below `root`; `may_copy` where it is handed on to one."""
        stack = [(root, may_copy)]
        while stack and not self.is_mixed:
            node, copies_on = stack.pop()
            if (node, copies_on) in self._done:
                continue
            self._done.add((node, copies_on))
            names = self._names(node)
            if not names & self.copies:
                continue
            if node.op is Op.VAR:
                self.is_mixed |= not copies_on
            elif len(names) == 1 and not (copies_on and node.op is Op.ITE):
                self.found.append(node)
            elif node.op in (Op.EQ, Op.LT) and (cases := _over_choices(node)):
                # Of what is chosen each choice is compared, where it is chosen.
                stack += [(part, False) for part in cases]
                self.is_mixed |= len(self._done) > _MOST_LOOKED_AT
            elif node.op is Op.EQ and {arg.name for arg in node.args} <= self.copies:
                self.is_equated = True
            elif node.op in (Op.EQ, Op.LT) and (found := self._compared(node)) is not None:
                self.found.append(found)
            elif node.op is Op.ITE:
                stack.append((node.args[0], False))
                stack += [(branch, copies_on) for branch in node.args[1:]]
            else:
                stack += [(argument, False) for argument in node.args]


_ARITHMETIC = frozenset((Op.ADD, Op.SUB, Op.MUL, Op.DIV, Op.MOD, Op.MIN, Op.MAX))


def _over_choices(comparison: Expr) -> list[Expr]:
    """The condition that a comparison chooses by, and what it is in either case; maybe none."""
    choice = next((node for arg in comparison.args if (node := _choice_in(arg)) is not None), None)
    if choice is None:
        return []
    condition, *cases = choice.args
    return [condition, *(_replaced(comparison, choice, case) for case in cases)]


def _choice_in(e: Expr) -> Expr | None:
    """A choice that is calculated with in `e`."""
    stack = [e]
    while stack:
        node = stack.pop()
        if node.op is Op.ITE:
            return node
        stack += node.args if node.op in _ARITHMETIC else ()
    return None


def _replaced(root: Expr, old: Expr, new: Expr) -> Expr:
    made: dict[Expr, Expr] = {}
    for node in ex.topological([root]):
        args = [made[arg] for arg in node.args]
        same = all(a is b for a, b in zip(args, node.args, strict=True))
        made[node] = new if node is old else node if same else ex.rebuild(node.op, args)
    return made[root]


def _by_halving(
    observed: Sequence[Expr], span: tuple[int, int], each: int
) -> tuple[ValueClass, ...] | None:
    """Classes as unions of intervals on each of which every observation is constant."""
    pieces: list[tuple[tuple[int, ...], int, int]] = []
    signatures: set[tuple[int, ...]] = set()
    compute = python_function(observed, {_INPUT: 0})
    stack = [span]
    while stack:
        if len(stack) + len(pieces) > _MOST_INTERVALS or len(signatures) > MOST_CLASSES:
            return None
        lo, hi = stack.pop()
        known = bounds(observed, {_INPUT: (lo, hi)})
        if lo == hi or all(known[e][0] == known[e][1] for e in observed):
            pieces.append((compute((lo,)), lo, hi))
            signatures.add(pieces[-1][0])
        else:
            middle = (lo + hi) // 2
            stack += [(middle + 1, hi), (lo, middle)]
    return _grouped(pieces, each)


def _by_trying(
    observed: Sequence[Expr], span: tuple[int, int], each: int
) -> tuple[ValueClass, ...] | None:
    compute = python_function(observed, {_INPUT: 0})
    pieces = []
    signatures: set[tuple[int, ...]] = set()
    for value in range(span[0], span[1] + 1):
        signature = compute((value,))
        signatures.add(signature)
        if len(signatures) > MOST_CLASSES:
            return None
        pieces.append((signature, value, value))
    return _grouped(pieces, each)


def _grouped(
    pieces: Iterable[tuple[tuple[int, ...], int, int]], each: int
) -> tuple[ValueClass, ...] | None:
    """The classes, with so many values of each as there are, but for smaller ones."""
    groups: dict[tuple[int, ...], list[tuple[int, int]]] = {}
    for signature, lo, hi in sorted(pieces, key=lambda piece: piece[1]):
        groups.setdefault(signature, []).append((lo, hi))
    found = []
    for spans in groups.values():
        least, greatest = spans[0][0], spans[-1][1]
        is_whole = sum(hi - lo + 1 for lo, hi in spans) == greatest - least + 1
        joined = () if is_whole else _joined(spans)
        found += [
            ValueClass(value, least, greatest, is_whole, joined)
            for value in _nearest_to_0(spans, each)
        ]
        if len(found) > MOST_CLASSES:
            return None
    return tuple(sorted(found, key=lambda c: c.value))


def _nearest_to_0(spans: Sequence[tuple[int, int]], each: int) -> list[int]:
    near: list[int] = []
    for lo, hi in spans:
        first = min(max(lo, 0), hi)
        near += range(max(lo, first - each + 1), min(hi, first + each - 1) + 1)
    return sorted(near, key=lambda v: (abs(v), v < 0))[:each]


def _joined(spans: Sequence[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """The same values in as few spans as can be; they come in order."""
    found: list[tuple[int, int]] = []
    for lo, hi in spans:
        if found and found[-1][1] == lo - 1:
            found[-1] = found[-1][0], hi
        else:
            found.append((lo, hi))
    return tuple(found)
