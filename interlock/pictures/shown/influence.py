"""Which signal switches which output, computed from what the program does, not from its text.

For an output and a signal, the program's next scan is looked at twice in every reachable state:
with the signal taken as TRUE and as FALSE, everything else left as it is there. What the output
would be in both cases tells whether the signal permits it, blocks it, or does now one and now the
other. The memory that the scan starts with takes part like a signal.

The influence is that of one scan. What a signal does later, through the memory that it leaves
behind, is told by the rows of that memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr, and_, const, eq, not_, or_, var
from interlock.kernel.query import Answer, Values
from interlock.kernel.system import BOOL, Role, Variable
from interlock.model.build import Built
from interlock.model.reading import names_behind
from interlock.st.lower import lower_program

# A signal or output with more values than this is not taken apart value by value.
MOST_VALUES = 8


class Effect(Enum):
    """What a cause does to an effect; the value is the letter in a matrix."""

    PERMITS_ALWAYS = "T"  # without the cause it never comes on
    PERMITS = "t"
    BLOCKS_ALWAYS = "F"  # with the cause it never comes on
    BLOCKS = "f"
    BOTH = "tf"
    NONE = ""

    @property
    def says(self) -> str:
        """The effect in words."""
        return _SAYS[self]


_SAYS = {
    Effect.PERMITS_ALWAYS: "must be TRUE: the output never comes on without it",
    Effect.PERMITS: "permits: in some state the output is on only thanks to TRUE",
    Effect.BLOCKS_ALWAYS: "must be FALSE: the output never comes on with it",
    Effect.BLOCKS: "blocks: in some state the output is on only thanks to FALSE",
    Effect.BOTH: "both: TRUE is needed in some states, FALSE in others",
    Effect.NONE: "no influence within a scan",
}


@dataclass(frozen=True)
class Cause:
    """A signal, a bit of memory, or one value of either, that may be there or not.

    Attributes
    ----------
    name : str
        As in the program; ``"mode = AUTO"`` for one value of several.
    says : str
    is_memory : bool
        Whether it is memory from the scan before.
    variable : str
        What stands for it in the program's updates.
    value : int
        The value that counts as TRUE.
    others : tuple of int
        The values that count as FALSE.
    """

    name: str
    says: str
    is_memory: bool
    variable: str
    value: int
    others: tuple[int, ...]


@dataclass(frozen=True)
class Gate:
    """A move of the plant or of a person that an output takes part in allowing.

    Attributes
    ----------
    output, move : str
        The output is one of `Influence.effects`.
    needs_on, needs_off : bool
        Whether somewhere the move is possible only thanks to the output being on, being off.
    """

    output: str
    move: str
    needs_on: bool
    needs_off: bool


@dataclass(frozen=True)
class Influence:
    """Everything that switches the outputs of a program, and what they switch.

    Attributes
    ----------
    causes : tuple of Cause
        Signals in the order of the program, then memory.
    effects : tuple of str
        Outputs, ``"state = RAISING"`` for one value of several.
    cells : mapping of (str, str) to Effect
        By the names of cause and effect; pairs without influence are left out.
    gates : tuple of Gate
        In the model's order of moves.
    left_out : tuple of str
        Signals and outputs with too many values to take apart.
    complete : bool
        Whether every reachable state was looked at.
    """

    causes: tuple[Cause, ...]
    effects: tuple[str, ...]
    cells: Mapping[tuple[str, str], Effect]
    gates: tuple[Gate, ...]
    left_out: tuple[str, ...]
    complete: bool


@dataclass(frozen=True)
class _Switch:
    """An output, or one of its values, and the expression for it after the next scan."""

    name: str
    after: Expr
    variable: str
    value: int
    others: tuple[int, ...]


def _is_bool(variable: Variable) -> bool:
    return variable.domain == BOOL


class InfluenceStudy:
    """The questions that the influence takes, and what the answers mean.

    Parameters
    ----------
    built : Built
    """

    def __init__(self, built: Built) -> None:
        self.built = built
        program = built.model.program
        self.lowered = lower_program(program, built.model.settings)
        self.left_out: list[str] = []
        self.causes = tuple(self._causes())
        self.effects = {switch.name: switch for switch in self._switches()}
        self._pairs: list[tuple[Cause, str]] = []
        self.queries: list[Values] = []
        for cause in self.causes:
            self._ask(cause)
        self._gated = list(self._possible_gates())
        self.queries += [Values(guards) for _, _, guards in self._gated]

    def _causes(self) -> Iterator[Cause]:
        model = self.built.model
        for variable in self.lowered.inputs:
            name = variable.name.removeprefix("input.")
            yield from self._taken_apart(variable, name, model.sensors[name].says, False)
        read = set(ex.variables_of(self.lowered.updates.values()))
        for variable in self.lowered.variables:
            name = variable.name.removeprefix("plc.")
            # An output that the program reads before writing it remembers the scan before.
            if variable.role is Role.OUTPUT:
                name += " (before)"
            if variable.name in read:
                yield from self._taken_apart(variable, name, "memory of earlier scans", True)

    def _taken_apart(
        self, variable: Variable, name: str, says: str, is_memory: bool
    ) -> Iterator[Cause]:
        domain = variable.domain
        if _is_bool(variable):
            yield Cause(name, says, is_memory, variable.name, 1, (0,))
        elif 1 < domain.size <= MOST_VALUES:
            values = range(domain.lo, domain.hi + 1)
            for value in values:
                others = tuple(v for v in values if v != value)
                called = f"{name} = {domain.show(value)}"
                yield Cause(called, says, is_memory, variable.name, value, others)
        elif domain.size > 1:
            self.left_out.append(name)

    def _switches(self) -> Iterator[_Switch]:
        for variable in self.lowered.variables:
            if variable.role is not Role.OUTPUT:
                continue
            name, domain = variable.name, variable.domain
            after = self.lowered.updates.get(name, var(name))
            values = range(domain.lo, domain.hi + 1)
            if _is_bool(variable):
                yield _Switch(name, after, name, 1, (0,))
            elif domain.size <= MOST_VALUES:
                for value in values:
                    others = tuple(v for v in values if v != value)
                    called = f"{name} = {domain.show(value)}"
                    yield _Switch(called, eq(after, const(value)), name, value, others)
            else:
                self.left_out.append(name)

    def _ask(self, cause: Cause) -> None:
        names = list(self.effects)
        roots = [self.effects[name].after for name in names]
        present = self._scanned(roots, cause, cause.value)
        absents = [self._scanned(roots, cause, value) for value in cause.others]
        for number, name in enumerate(names):
            with_it = present[number]
            without = [absent[number] for absent in absents]
            if all(other is with_it for other in without):
                continue
            # With several other values: is it on for some of them, is it off for some of them?
            self._pairs.append((cause, name))
            self.queries.append(Values((with_it, or_(*without), not_(and_(*without)))))

    def _scanned(self, roots: Sequence[Expr], cause: Cause, value: int) -> list[Expr]:
        program = self.built.model.program
        read = {f"input.{v.name}": self.built.read[v.name.casefold()] for v in program.inputs}
        return ex.substitute(roots, {**read, cause.variable: const(value)})

    def _possible_gates(self) -> Iterator[tuple[str, str, tuple[Expr, ...]]]:
        """Output, move, and the move's guard: with it on; off for some value; off for all."""
        model = self.built.model
        guards = {move.name: move.guard for move in self.built.system.moves}
        for move in model.moves:
            if move.name not in guards or move.when is None:
                continue
            read = names_behind(model, move.when.tree)
            for switch in self.effects.values():
                if switch.variable.casefold() in read:
                    at = [guards[move.name]]
                    on, *off = (
                        ex.substitute(at, {switch.variable: const(value)})[0]
                        for value in (switch.value, *switch.others)
                    )
                    if any(guard is not on for guard in off):
                        yield switch.name, move.name, (on, or_(*off), and_(*off))

    def result(self, answers: Sequence[Answer]) -> Influence:
        """What the answers to `queries` mean."""
        cells: dict[tuple[str, str], Effect] = {}
        of_cells, of_gates = answers[: len(self._pairs)], answers[len(self._pairs) :]
        for (cause, effect), answer in zip(self._pairs, of_cells, strict=True):
            found = _effect(answer.values)
            if found is not Effect.NONE:
                cells[cause.name, effect] = found
        gates = [
            Gate(
                output,
                move,
                needs_on=any(on and not some for on, some, _ in answer.values),
                needs_off=any(not on and every for on, _, every in answer.values),
            )
            for (output, move, _), answer in zip(self._gated, of_gates, strict=True)
        ]
        return Influence(
            causes=self.causes,
            effects=tuple(self.effects),
            cells=cells,
            gates=tuple(gate for gate in gates if gate.needs_on or gate.needs_off),
            left_out=tuple(self.left_out),
            complete=all(answer.found is False for answer in answers),
        )


def _effect(values: Sequence[tuple[int, ...]]) -> Effect:
    """The effect, from the combinations of (on with it, on without it, off without it)."""
    permits = any(on and off_without for on, _, off_without in values)
    blocks = any(not on and on_without for on, on_without, _ in values)
    if permits and blocks:
        return Effect.BOTH
    if permits:
        necessary = not any(on_without for _, on_without, _ in values)
        return Effect.PERMITS_ALWAYS if necessary else Effect.PERMITS
    if blocks:
        necessary = not any(on for on, _, _ in values)
        return Effect.BLOCKS_ALWAYS if necessary else Effect.BLOCKS
    return Effect.NONE
