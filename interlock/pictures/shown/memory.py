"""What a program remembers from scan to scan, and what makes that change, as it is explored.

Computed from what the program does and not from its text. What a block remembers is looked at
together where that is little. Of a block that remembers more, each variable of several values is
looked at by itself, as the step of a sequence.

In every reachable state the next scan is looked at: what is remembered before it and after it,
and what it reads. From the rows with one pair of before and after follows under which condition
the scan leads from the one to the other: exactly, where few signals take part; else what all
these scans have in common.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, const, eq, var
from interlock.kernel.query import Answer, Values
from interlock.kernel.system import BOOL, Domain, Role, Variable
from interlock.model.build import SCAN, Built
from interlock.model.lowered import lower_controllers
from interlock.pictures.shown.terms import Row, fixed, terms_of
from interlock.st.layout import PREFIX

# A diagram of more states, or of more variables in each, is read by nobody.
MOST_STATES = 24
MOST_VARIABLES = 6
# So many signals are taken together; of more, each is looked at by itself.
MOST_TOGETHER = 10
# A signal with more values than this takes no part in a condition.
_MOST_VALUES = 8


@dataclass(frozen=True)
class Passage:
    """A scan from one of the remembered states to another.

    Attributes
    ----------
    source, target : int
        Numbers of two states.
    when : tuple of tuple of str
        Alternatives, each of which is everything that must be so, such as ``"NOT stop"``.
    is_exact : bool
        Whether the scan goes there if one of these is so; else it may go elsewhere even then.
    """

    source: int
    target: int
    when: tuple[tuple[str, ...], ...]
    is_exact: bool


@dataclass(frozen=True)
class Remembered:
    """What one block, or one variable, remembers.

    Attributes
    ----------
    name : str
        Of the block or the variable; the program's for what stands in no block.
    states : tuple of tuple of str
        What is so in each state that is reached, such as ``"NOT armed"`` or ``"phase = REST"``, and
        of a chart the active steps; the first is the state at power-up.
    passages : tuple of Passage
    is_complete : bool
        Whether every reachable state was looked at.
    """

    name: str
    states: tuple[tuple[str, ...], ...]
    passages: tuple[Passage, ...]
    is_complete: bool


@dataclass(frozen=True)
class _Signal:
    """Something that a scan finds, which is so or is not."""

    name: str
    is_so: Expr


@dataclass(frozen=True)
class _Asked:
    name: str
    is_chart: bool
    held: tuple[Variable, ...]
    signals: tuple[_Signal, ...]
    queries: tuple[Values, ...]

    @property
    def is_together(self) -> bool:
        return len(self.signals) <= MOST_TOGETHER


class MemoryStudy:
    """The questions that a program's memory takes, and what the answers mean.

    Parameters
    ----------
    built : Built

    Attributes
    ----------
    left_out : list of str
        Blocks and variables with too many values or states for a diagram; whole after `result`.
    """

    def __init__(self, built: Built) -> None:
        self._built = built
        self.left_out: list[str] = []
        (self._program,) = lower_controllers(built.model.controllers)
        self._lowered = self._program.lowered
        self._known = {variable.name for variable in built.system.variables}
        self._scan = next(move for move in built.system.moves if move.name == SCAN)
        self._asked = [self._ask(*group) for group in self._groups()]
        self.queries = [query for asked in self._asked for query in asked.queries]

    def _groups(self) -> Iterator[tuple[str, bool, tuple[Variable, ...]]]:
        """Names, whether they are steps of a chart, and the variables that are drawn together."""
        groups: dict[tuple[str, bool], list[Variable]] = defaultdict(list)
        for variable in self._remembered():
            owner, _, part = variable.name.removeprefix(PREFIX).rpartition(".")
            is_step = part == "X"
            groups[owner.rpartition(".")[0] if is_step else owner, is_step].append(variable)
        for (owner, is_chart), held in groups.items():
            called = owner or self._built.model.program.name
            is_little = len(held) <= MOST_VARIABLES and all(_is_small(v) for v in held)
            if is_chart:
                yield f"the chart of {called}", True, tuple(held)
            elif is_little:
                yield called, False, tuple(held)
            else:
                for variable in held:
                    name = variable.name.removeprefix(PREFIX)
                    if variable.role is Role.MEMORY and _is_small(variable):
                        yield name, False, (variable,)
                    else:
                        self.left_out.append(name)

    def _remembered(self) -> Iterator[Variable]:
        """What a scan reads before it writes it, and changes; timers tell of their time alone."""
        read = set(ex.variables_of(self._lowered.updates.values()))
        # What a timer, counter, edge or latch of the standard remembers is known.
        standard = tuple(f"{PREFIX}{one.name}." for one in self._built.model.program.instances)
        for variable in self._lowered.variables:
            name = variable.name
            is_held = name in read and name in self._lowered.updates and name in self._known
            if is_held and variable.domain.size > 1 and not name.startswith(standard):
                yield variable

    def _ask(self, name: str, is_chart: bool, held: tuple[Variable, ...]) -> _Asked:
        signals = tuple(self._signals(held))
        before = [var(variable.name) for variable in held]
        both = (*before, *(self._scanned(variable.name) for variable in held))
        parts = [signals] if len(signals) <= MOST_TOGETHER else [(signal,) for signal in signals]
        queries = [
            Values((*both, *(signal.is_so for signal in part)), self._scan.guard) for part in parts
        ]
        return _Asked(name, is_chart, held, signals, tuple(queries))

    def _scanned(self, name: str) -> Expr:
        """The value after the next scan, also of what the system need not keep."""
        after = self._lowered.updates.get(name, var(name))
        return self._program.reading(after, self._built.read)

    def _signals(self, held: Sequence[Variable]) -> Iterator[_Signal]:
        own = {variable.name for variable in held}
        updates = [self._lowered.updates[name] for name in own]
        needed = set(ex.variables_of(updates))
        for variable in self._lowered.inputs:
            if variable.name in needed:
                name = variable.name.removeprefix("input.")
                yield from _signals_of(name, variable, self._built.read[name.casefold()])
        for variable in self._lowered.variables:
            name, shown = variable.name, variable.name.removeprefix(PREFIX)
            if name not in needed or name in own or name not in self._known:
                continue
            if variable.role is not Role.TIMER:
                yield from _signals_of(f"{shown} before", variable, var(name))
            elif name.endswith(".running"):
                timer = name.removesuffix("running") + "Q"
                yield _Signal(shown.removesuffix("running") + "Q", self._scanned(timer))

    def result(self, answers: Sequence[Answer]) -> tuple[Remembered, ...]:
        """What the answers to `queries` mean; what has too many states is left out."""
        left = iter(answers)
        found = []
        for asked in self._asked:
            own = [next(left) for _ in asked.queries]
            states = _states(asked, own)
            if len(states) > MOST_STATES:
                self.left_out.append(asked.name)
            elif len(states) > 1:
                found.append(_remembered(asked, own, states))
        return tuple(found)


def _is_small(variable: Variable) -> bool:
    return variable.domain.size <= MOST_STATES


def _signals_of(name: str, variable: Variable, value: Expr) -> Iterator[_Signal]:
    domain = variable.domain
    if _is_bool(domain):
        yield _Signal(name, value)
    elif domain.size <= _MOST_VALUES:
        for one in range(domain.lo, domain.hi + 1):
            yield _Signal(f"{name} = {domain.show(one)}", eq(value, const(one)))


def _states(asked: _Asked, answers: Sequence[Answer]) -> list[Row]:
    """The states that are reached, that of power-up first."""
    n = len(asked.held)
    rows = answers[0].values
    first = tuple(variable.initial for variable in asked.held)
    return list(dict.fromkeys([first, *sorted({r[k : k + n] for r in rows for k in (0, n)})]))


def _remembered(asked: _Asked, answers: Sequence[Answer], states: Sequence[Row]) -> Remembered:
    n = len(asked.held)
    numbers = {state: number for number, state in enumerate(states)}
    pairs = sorted({(numbers[row[:n]], numbers[row[n : 2 * n]]) for row in answers[0].values})
    passages = []
    for source, target in pairs:
        if source != target:
            seen = [_seen(answer.values, n, states[source], states[target]) for answer in answers]
            passages.append(_passage(asked, source, target, seen))
    return Remembered(
        name=asked.name,
        states=tuple(_shown(asked, state) for state in states),
        passages=tuple(passages),
        is_complete=all(answer.found is False for answer in answers),
    )


def _shown(asked: _Asked, state: Row) -> tuple[str, ...]:
    parts = [variable.name.removeprefix(PREFIX).split(".") for variable in asked.held]
    values = list(zip(parts, asked.held, state, strict=True))
    if asked.is_chart:
        return tuple(part[-2] for part, _, value in values if value) or ("no step",)
    if len(values) == 1 and not _is_bool(asked.held[0].domain):
        return (asked.held[0].domain.show(state[0]),)
    return tuple(
        _literal(part[-1], value)
        if _is_bool(variable.domain)
        else f"{part[-1]} = {variable.domain.show(value)}"
        for part, variable, value in values
    )


def _is_bool(domain: Domain) -> bool:
    return domain == BOOL


def _seen(rows: Sequence[Row], n: int, source: Row, target: Row) -> tuple[list[Row], list[Row]]:
    """What scans from `source` find that lead to `target`, and what those that do not."""
    there = [row[2 * n :] for row in rows if row[:n] == source and row[n : 2 * n] == target]
    others = [row[2 * n :] for row in rows if row[:n] == source and row[n : 2 * n] != target]
    return there, others


def _passage(
    asked: _Asked, source: int, target: int, seen: Sequence[tuple[list[Row], list[Row]]]
) -> Passage:
    names = [signal.name for signal in asked.signals]
    if asked.is_together:
        there, others = seen[0]
        terms = terms_of(there, others)
        if terms is not None:
            when = tuple(tuple(_literal(names[n], so) for n, so in term) for term in terms)
            return Passage(source, target, when, is_exact=True)
        common = sorted(fixed(there) - fixed([*there, *others]))
    else:
        common = [
            (number, so)
            for number, (there, others) in enumerate(seen)
            for _, so in fixed(there) - fixed([*there, *others])
        ]
    needed = tuple(_literal(names[n], so) for n, so in common)
    return Passage(source, target, (needed,), is_exact=False)


def _literal(name: str, is_so: int) -> str:
    return name if is_so else name.replace(" = ", " <> ") if " = " in name else f"NOT {name}"
