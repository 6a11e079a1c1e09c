"""A controller that executes a typed program directly, statement by statement.

It shares the typed tree and the names of the memory with the lowering, and no code: each is a
check on the other.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping

from interlock.base.errors import Mistake, Place
from interlock.kernel.system import Role
from interlock.st import flaws, reals
from interlock.st import typed as ty
from interlock.st.evaluate import evaluate_expression, evaluate_number, explain, fitted
from interlock.st.interpret_blocks import call_block
from interlock.st.layout import (
    PREFIX,
    Settings,
    Timers,
    count_name,
    lay_out,
    position_name,
    top_of,
)
from interlock.st.scans import Decision, ScanResult
from interlock.st.types import BitsType, IntType, RealType, TimeType, Type, span_of

__all__ = ["Controller", "Decision", "ScanResult", "evaluate_expression", "explain"]


class Controller:
    """A controller with its memory.

    Parameters
    ----------
    program : typed.Program
    settings : Settings

    Raises
    ------
    InputError
        Where the program reads the elapsed time of a free timer.
    """

    def __init__(self, program: ty.Program, settings: Settings) -> None:
        self.program = program
        self.settings = settings
        self._layout = lay_out(program, settings)
        self._values = {v.name: v.initial for v in self._layout.variables}
        self._inputs = {v.name: v.initial for v in self._layout.inputs}
        self._instances = {i.name: i for i in program.instances}
        counts = self._layout.counts
        self._stays = {count_name(self._instances[name]): ends for name, ends in counts.items()}
        self._temporaries: dict[str, float] = {}
        self._outputs = [v.name for v in self._layout.variables if v.role is Role.OUTPUT]
        self._env = _Env(self)
        self._start_scan()

    def _start_scan(self) -> None:
        self._temporaries = {
            key: v.real if isinstance(v.type, RealType) else v.initial
            for key, v in self._layout.temporaries.items()
        }
        self._executed: list[Place] = []
        self._defects: list[Mistake] = []
        self._last_writes: dict[str, Place] = {}

    def values(self) -> dict[str, int]:
        """Every variable of the memory, outputs included, as the lowering knows them.

        A counter counts on here; of values that nothing tells apart the lowering has the least.
        """
        return self._values | {
            name: min(max(self._values[name], least), most)
            for name, (least, most) in self._stays.items()
        }

    def exact_values(self) -> dict[str, int]:
        """As `values`, with counters as far as they have counted."""
        return dict(self._values)

    def memory(self) -> dict[str, int]:
        """As `values`, without the outputs."""
        return {name: v for name, v in self.values().items() if name not in self._outputs}

    def load(self, values: Mapping[str, int]) -> None:
        """Set variables of the memory by name, as `values` or `exact_values` has them.

        Where a counter stays in the lowering, the value says 'or more': one that has counted on
        here keeps its count.

        Raises
        ------
        KeyError
            For a name that the memory does not have.
        """
        for name, value in values.items():
            if name not in self._values:
                raise KeyError(name)
            least, most = self._stays.get(name, (None, None))
            if value == most:
                value = max(value, self._values[name])
            elif value == least:
                value = min(value, self._values[name])
            self._values[name] = value

    def remember(self, values: Mapping[str, int]) -> None:
        """Go back to what `exact_values` told."""
        self._values = dict(values)

    def restart(self) -> None:
        """Switch off and on: RETAIN keeps its values, everything else starts anew."""
        for variable in self._layout.variables:
            if variable.name not in self._layout.retained:
                self._values[variable.name] = variable.initial

    def running_timers(self) -> list[str]:
        """The instances that may elapse now; only free timers do."""
        return [name for name, instance in self._instances.items() if self._is_due(instance)]

    def _is_due(self, instance: ty.Instance) -> bool:
        if self.settings.timers is not Timers.FREE or instance.preset_ms == 0:
            return False
        running = self._values.get(f"{PREFIX}{instance.name}.running", 0)
        return bool(running and not self._values[position_name(instance, self.settings)])

    def elapse(self, instance: str) -> None:
        """Let the time of a running free timer elapse; the next call will see it.

        Raises
        ------
        ValueError
            If it is not running, or has elapsed already.
        """
        timer = self._instances[instance]
        if not self._is_due(timer):
            raise ValueError(f"timer {instance} is not running")
        self._values[position_name(timer, self.settings)] = 1

    def scan(self, inputs: Mapping[str, int]) -> ScanResult:
        """Latch `inputs`, execute the program once, write the outputs.

        Parameters
        ----------
        inputs : mapping of str to int
            A value for every declared input, by its name.
        """
        self._start_scan()
        before = {name: self._values[name] for name in self._outputs}
        for declared in self.program.inputs:
            self._inputs[f"input.{declared.name}"] = inputs[declared.name]
        if self.settings.timers is Timers.COUNTED:
            self._pass_time()
        self._execute(self.program.body)
        outputs = {name: self._values[name] for name in self._outputs}
        decided = tuple(
            Decision(self._last_writes[name], name, before[name], outputs[name])
            for name in self._outputs
            if outputs[name] != before[name]
        )
        return ScanResult(outputs, decided, tuple(self._executed), tuple(self._defects))

    def _pass_time(self) -> None:
        for instance in self._instances.values():
            if self._values.get(f"{PREFIX}{instance.name}.running"):
                name = position_name(instance, self.settings)
                self._values[name] = min(self._values[name] + 1, top_of(instance, self.settings))

    def names(self) -> tuple[str, ...]:
        """Every casefolded name that `read` knows."""
        return tuple(self._layout.names)

    def read(self, name: str) -> int:
        """The value of a casefolded name of the program; a timer's ET in milliseconds."""
        where = self._layout.names[name]
        value = self._inputs[where] if where in self._inputs else self._values[where]
        if name.endswith(".et"):
            timer = next(i for n, i in self._instances.items() if n.casefold() == name[:-3])
            if not timer.varies:
                return min(value * self.settings.scan_ms, timer.preset_ms)
        return value

    def number(self, name: str) -> float:
        """The value of a casefolded name as expressions read it, temporary variables included."""
        if name in self._temporaries:
            return self._temporaries[name]
        table = self._layout.tables.get(self._layout.names[name])
        value = self.read(name)
        return value if table is None else table[value]

    def _value(self, e: ty.Expression) -> float:
        return evaluate_number(e, self._env, self._defects, self.settings.saturates)

    def _execute(self, body: Iterable[ty.Statement]) -> None:
        for s in body:
            match s:
                case ty.Assign():
                    self._executed.append(s.place)
                    self._write(s.target, s.type, self._value(s.value), s.place)
                case ty.Invoke():
                    self._executed.append(s.place)
                    self._invoke(s)
                case ty.If():
                    self._if(s)
                case ty.Case():
                    self._case(s)

    def _if(self, s: ty.If) -> None:
        for branch in s.branches:
            if self._value(branch.condition):
                self._executed.append(branch.place)
                self._execute(branch.body)
                return
        self._execute(s.otherwise)

    def _case(self, s: ty.Case) -> None:
        value = self._value(s.selector)
        for branch in s.branches:
            if any(lo <= value <= hi for lo, hi in branch.ranges):
                self._executed.append(branch.place)
                self._execute(branch.body)
                return
        self._execute(s.otherwise)

    def _invoke(self, s: ty.Invoke) -> None:
        inputs = {name: int(self._value(e)) for name, e in s.inputs}
        instance = self._instances[s.instance]
        call_block(instance, inputs, self._values, self.settings)
        for taken in s.outputs:
            value = self.read(f"{s.instance}.{taken.output}".casefold())
            self._write(taken.target, taken.type, value, taken.place)

    def _write(self, target: str, type_: Type, value: float, place: Place) -> None:
        key = target.casefold()
        kept = self._kept(target, type_, value, place)
        if key in self._temporaries:
            self._temporaries[key] = kept
            return
        name = self._layout.names[key]
        table = self._layout.tables.get(name)
        at = bisect_left(table, kept) if table is not None else 0
        self._values[name] = int(kept) if table is None else min(at, len(table) - 1)
        self._last_writes[name] = place

    def _kept(self, target: str, type_: Type, value: float, place: Place) -> float:
        """What a variable of `type_` keeps of a value; a defect where that is another."""
        if isinstance(type_, RealType):
            if not reals.fits(value, type_.base):
                self._defects.append(Mistake(place, flaws.outside_real(target, type_.base)))
            return reals.rounded(value, type_.base)
        if not isinstance(type_, IntType | TimeType | BitsType):
            return value
        lo, hi = span_of(type_)
        # A bit string holds the bits of a negative number of its own width, too.
        least = -(hi + 1) // 2 if isinstance(type_, BitsType) else lo
        if least <= value <= hi:
            return int(value) % (hi + 1) if isinstance(type_, BitsType) else value
        self._defects.append(Mistake(place, flaws.outside(target, lo, hi)))
        if isinstance(type_, IntType) and not type_.is_whole:
            return hi if value > hi else lo
        saturates = self.settings.saturates and not isinstance(type_, BitsType)
        return fitted(int(value), type_.base, saturates)


class _Env(Mapping[str, float]):
    """The names of a program with their present values."""

    def __init__(self, controller: Controller) -> None:
        self._controller = controller

    def __getitem__(self, name: str) -> float:
        return self._controller.number(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._controller._layout.names)

    def __len__(self) -> int:
        return len(self._controller._layout.names)
