"""One scan of a controller, statement by statement."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from interlock.st import typed
from interlock.st.layout import Settings, Timers
from interlock.st.types import IntType, Type
from tests.second_opinion.blocks import TIMERS, call_block, first_memory
from tests.second_opinion.expressions import BROKEN, Values, function_of

Step = Callable[["_Scan"], None]


@dataclass
class _Scan:
    """What a scan works on."""

    values: Values
    called: set[str]
    out_of_range: bool = False

    def assign(self, target: str, type_: Type, value: int) -> None:
        if isinstance(type_, IntType) and not type_.lo <= value <= type_.hi:
            self.out_of_range = True
            value = min(max(value, type_.lo), type_.hi)
        self.values[target] = value


class Scanned(NamedTuple):
    """What a scan leaves.

    Attributes
    ----------
    memory : tuple of int
        By `Controller.names`.
    is_broken : bool
        A value left its range, or something was divided by zero.
    """

    memory: tuple[int, ...]
    is_broken: bool


class Controller:
    """A program as a function from memory and inputs to memory.

    Attributes
    ----------
    names : list of str
        What is remembered from scan to scan: variables, outputs and parts of blocks.
    first : tuple of int
        Memory before the first scan.
    free_timers : list of str
        The timers whose end comes from outside.
    """

    def __init__(self, program: typed.Program, settings: Settings) -> None:
        self._settings = settings
        self._instances = {instance.name: instance for instance in program.instances}
        first: dict[str, int] = {}
        kept: set[str] = set()
        for variable in program.variables:
            if variable.kind != "VAR_INPUT":
                first[variable.name] = variable.initial
                kept |= {variable.name} if variable.retain else set()
        for instance in program.instances:
            memory = first_memory(instance, settings)
            first |= memory
            kept |= set(memory) if instance.retain else set()
        self.names = list(first)
        self.first = tuple(first.values())
        self._kept = [name in kept for name in self.names]
        self.free_timers = [
            instance.name
            for instance in program.instances
            if instance.block in TIMERS and settings.timers is Timers.FREE
        ]
        self._index = {name: number for number, name in enumerate(self.names)}
        self._body = self._steps(program.body)

    def scan(self, memory: tuple[int, ...], inputs: Mapping[str, int]) -> Scanned:
        """Run the program once on latched `inputs`."""
        scan = _Scan({**inputs, **dict(zip(self.names, memory, strict=True))}, set())
        for step in self._body:
            step(scan)
        after = tuple(scan.values[name] for name in self.names)
        return Scanned(after, scan.out_of_range or BROKEN in scan.values)

    def value(self, memory: tuple[int, ...], name: str) -> int:
        """The value of `name` in `memory`."""
        return memory[self._index[name]]

    def restarted(self, memory: tuple[int, ...]) -> tuple[int, ...]:
        """Memory after a restart: only what is retained stays."""
        values = zip(self._kept, memory, self.first, strict=True)
        return tuple(old if kept else first for kept, old, first in values)

    def is_running(self, memory: tuple[int, ...], timer: str) -> bool:
        """Whether the end of a free timer is to come."""
        return bool(
            self.value(memory, f"{timer}.runs") and not self.value(memory, f"{timer}.ended")
        )

    def ended(self, memory: tuple[int, ...], timer: str) -> tuple[int, ...]:
        """Memory after the end of a free timer."""
        at = self._index[f"{timer}.ended"]
        return (*memory[:at], 1, *memory[at + 1 :])

    def _steps(self, statements: Iterable[typed.Statement]) -> list[Step]:
        return [self._step(statement) for statement in statements]

    def _step(self, statement: typed.Statement) -> Step:
        match statement:
            case typed.Assign():
                target, type_, value = (
                    statement.target,
                    statement.type,
                    function_of(statement.value),
                )
                return lambda scan: scan.assign(target, type_, value(scan.values))
            case typed.If():
                return self._if(statement)
            case typed.Case():
                return self._case(statement)
            case typed.Invoke():
                return self._invoke(statement)
        raise AssertionError(statement)

    def _if(self, statement: typed.If) -> Step:
        branches = [
            (function_of(branch.condition), self._steps(branch.body))
            for branch in statement.branches
        ]
        otherwise = self._steps(statement.otherwise)

        def run(scan: _Scan) -> None:
            for condition, body in branches:
                if condition(scan.values):
                    return _all(body, scan)
            return _all(otherwise, scan)

        return run

    def _case(self, statement: typed.Case) -> Step:
        selector = function_of(statement.selector)
        branches = [(branch.ranges, self._steps(branch.body)) for branch in statement.branches]
        otherwise = self._steps(statement.otherwise)

        def run(scan: _Scan) -> None:
            value = selector(scan.values)
            for ranges, body in branches:
                if any(lo <= value <= hi for lo, hi in ranges):
                    return _all(body, scan)
            return _all(otherwise, scan)

        return run

    def _invoke(self, statement: typed.Invoke) -> Step:
        instance = self._instances[statement.instance]
        inputs = [(name, function_of(tree)) for name, tree in statement.inputs]

        def run(scan: _Scan) -> None:
            given = {name: function(scan.values) for name, function in inputs}
            again = instance.name in scan.called
            scan.called.add(instance.name)
            call_block(instance, given, scan.values, self._settings, again)
            for taken in statement.outputs:
                value = scan.values[f"{instance.name}.{taken.output}"]
                scan.assign(taken.target, taken.type, value)

        return run


def _all(steps: list[Step], scan: _Scan) -> None:
    for step in steps:
        step(scan)
