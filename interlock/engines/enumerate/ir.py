"""Structured LLVM IR: values with operators, variables, loops and branches, written as text.

Every value is an unsigned integer or an address (``ptr``). Variables are stack slots, which the
optimiser turns into registers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass


@dataclass(frozen=True)
class Value:
    """A value that the function `of` computes."""

    of: Function
    type: str
    name: str

    def _apply(self, operation: str, other: Value | int) -> Value:
        return self.of.define(self.type, f"{operation} {self.type} {self.name}, {_name(other)}")

    def _compare(self, relation: str, other: Value | int) -> Value:
        return self.of.define("i1", f"icmp {relation} {self.type} {self.name}, {_name(other)}")

    def __add__(self, other: Value | int) -> Value:
        return self._apply("add", other)

    def __sub__(self, other: Value | int) -> Value:
        return self._apply("sub", other)

    def __mul__(self, other: Value | int) -> Value:
        return self._apply("mul", other)

    def __and__(self, other: Value | int) -> Value:
        return self._apply("and", other)

    def __or__(self, other: Value | int) -> Value:
        return self._apply("or", other)

    def __xor__(self, other: Value | int) -> Value:
        return self._apply("xor", other)

    def __lshift__(self, other: Value | int) -> Value:
        return self._apply("shl", other)

    def __rshift__(self, other: Value | int) -> Value:
        return self._apply("lshr", other)

    def __lt__(self, other: Value | int) -> Value:
        return self._compare("ult", other)

    def __gt__(self, other: Value | int) -> Value:
        return self._compare("ugt", other)

    def is_(self, other: Value | int) -> Value:
        """Whether the values are equal."""
        return self._compare("eq", other)

    def is_not(self, other: Value | int) -> Value:
        """Whether the values differ."""
        return self._compare("ne", other)

    def to(self, type_: str) -> Value:
        """The value in a wider or narrower type."""
        if type_ == self.type:
            return self
        wider = int(type_[1:]) > int(self.type[1:])
        operation = "zext" if wider else "trunc"
        return self.of.define(type_, f"{operation} {self.type} {self.name} to {type_}")

    def or_else(self, condition: Value, other: Value | int) -> Value:
        """This value, or `other` where `condition` does not hold."""
        text = f"select i1 {condition.name}, {self.type} {self.name}, {self.type} {_name(other)}"
        return self.of.define(self.type, text)


def _name(value: Value | int) -> str:
    return str(value) if isinstance(value, int) else value.name


@dataclass(frozen=True)
class Variable:
    """A place for a value that changes."""

    of: Function
    type: str
    slot: str

    def get(self) -> Value:
        """The value now."""
        return self.of.define(self.type, f"load {self.type}, ptr {self.slot}")

    def set(self, value: Value | int) -> None:
        """Give it another value."""
        self.of.write(f"store {self.type} {_name(value)}, ptr {self.slot}")

    def add(self, value: Value | int) -> None:
        """Raise it by `value`."""
        self.set(self.get() + value)

    def below(self, limit: Value) -> Callable[[], Value]:
        """The condition of a loop that runs while the value is less than `limit`."""
        return lambda: self.get() < limit

    def nonzero(self) -> Callable[[], Value]:
        """The condition of a loop that runs while the value is not 0."""
        return lambda: self.get().is_not(0)


class Function:
    """One function while it is written.

    Parameters
    ----------
    name : str
    params : sequence of str
        Types of the arguments.
    """

    def __init__(self, name: str, params: Sequence[str], returns: str = "i64") -> None:
        self.returns = returns
        self.args = [Value(self, type_, f"%a{n}") for n, type_ in enumerate(params)]
        listed = ", ".join(f"{arg.type} {arg.name}" for arg in self.args)
        self._head = f"define {returns} @{name}({listed}) {{"
        self._slots: list[str] = []
        self._lines: list[str] = []
        self._n_names = 0
        self._loops: list[tuple[str, str]] = []
        self._closed = False

    def fresh(self) -> str:
        """A name that was not used yet."""
        self._n_names += 1
        return f"v{self._n_names}"

    def write(self, line: str) -> None:
        """Append an instruction; after a jump, nothing more of the block can run."""
        if not self._closed:
            self._lines.append("  " + line)

    def define(self, type_: str, text: str) -> Value:
        """A new value computed by the instruction `text`."""
        name = "%" + self.fresh()
        self.write(f"{name} = {text}")
        return Value(self, type_, name)

    def const(self, type_: str, value: int) -> Value:
        """A constant."""
        return Value(self, type_, str(value))

    def variable(self, type_: str, initial: Value | int) -> Variable:
        """A new variable."""
        slot = "%" + self.fresh()
        self._slots.append(f"  {slot} = alloca {type_}")
        variable = Variable(self, type_, slot)
        variable.set(initial)
        return variable

    def at(self, type_: str, base: Value, index: Value | int) -> Value:
        """The address of an element of an array."""
        index_name = _name(index)
        return self.define("ptr", f"getelementptr {type_}, ptr {base.name}, i64 {index_name}")

    def load(self, type_: str, base: Value, index: Value | int = 0) -> Value:
        """An element of an array."""
        return self.define(type_, f"load {type_}, ptr {self.at(type_, base, index).name}")

    def store(self, value: Value, base: Value, index: Value | int = 0) -> None:
        """Write an element of an array."""
        place = self.at(value.type, base, index)
        self.write(f"store {value.type} {value.name}, ptr {place.name}")

    def least(self, a: Value, b: Value) -> Value:
        """The lesser of two numbers."""
        less = a < b
        return self.define(a.type, f"select i1 {less.name}, i64 {a.name}, i64 {b.name}")

    def call(self, callee: str, args: Sequence[Value | int], returns: str = "i64") -> Value:
        """The result of a function, by its name or by the name of its address."""
        listed = ", ".join(f"i64 {a}" if isinstance(a, int) else f"{a.type} {a.name}" for a in args)
        return self.define(returns, f"call {returns} {callee}({listed})")

    # What several threads may do with one place at a time

    def shared_load(self, type_: str, base: Value, index: Value | int = 0) -> Value:
        """An element that others may be writing; what they wrote before it is seen, too."""
        n_bytes = int(type_[1:]) // 8
        place = self.at(type_, base, index)
        return self.define(type_, f"load atomic {type_}, ptr {place.name} acquire, align {n_bytes}")

    def shared_add(self, value: Value | int, base: Value, index: Value | int = 0) -> Value:
        """Raise a 64-bit element; what it was before."""
        place = self.at("i64", base, index)
        text = f"atomicrmw add ptr {place.name}, i64 {_name(value)} monotonic"
        return self.define("i64", text)

    def shared_least(self, value: Value, base: Value, index: Value | int = 0) -> Value:
        """Lower a 64-bit element to `value`, unless it is lower; what it was before."""
        place = self.at("i64", base, index)
        return self.define("i64", f"atomicrmw umin ptr {place.name}, i64 {value.name} monotonic")

    def shared_claim(self, value: Value, base: Value, index: Value | int = 0) -> Value:
        """Write an element if it is 0; what it was before.

        Whoever reads `value` there by `shared_load` sees what was written before this.
        """
        type_, place = value.type, self.at(value.type, base, index)
        pair = self.fresh()
        self.write(
            f"%{pair} = cmpxchg ptr {place.name}, {type_} 0, {type_} {value.name} acq_rel acquire"
        )
        return self.define(type_, f"extractvalue {{ {type_}, i1 }} %{pair}, 0")

    def prefetch(self, place: Value) -> None:
        """Ask for the memory at `place`, which may be anywhere."""
        self.write(f"call void @llvm.prefetch.p0(ptr {place.name}, i32 0, i32 3, i32 1)")

    def _jump(self, label: str) -> None:
        self.write(f"br label %{label}")
        self._closed = True

    def _label(self, label: str) -> None:
        if not self._closed:
            self._jump(label)
        self._lines.append(f"{label}:")
        self._closed = False

    def _branch(self, condition: Value, yes: str, no: str) -> None:
        self.write(f"br i1 {condition.name}, label %{yes}, label %{no}")
        self._closed = True

    @contextmanager
    def if_(self, condition: Value) -> Iterator[None]:
        """What is written inside runs only where `condition` holds."""
        yes, end = self.fresh(), self.fresh()
        self._branch(condition, yes, end)
        self._label(yes)
        yield
        self._label(end)

    @contextmanager
    def while_(self, condition: Callable[[], Value]) -> Iterator[None]:
        """What is written inside runs again and again while `condition` holds."""
        head, body, end = self.fresh(), self.fresh(), self.fresh()
        self._label(head)
        self._branch(condition(), body, end)
        self._label(body)
        self._loops.append((head, end))
        yield
        self._loops.pop()
        if not self._closed:
            self._jump(head)
        self._label(end)

    @contextmanager
    def count(self, start: Value | int, stop: Value) -> Iterator[Value]:
        """What is written inside runs for each number from `start` up to before `stop`."""
        number = self.variable("i64", start)
        with self.while_(lambda: number.get() < stop):
            yield number.get()
            number.add(1)

    def leave_loop(self) -> None:
        """Go on behind the innermost loop."""
        self._jump(self._loops[-1][1])

    def repeat_loop(self) -> None:
        """Go on at the condition of the innermost loop (never inside `count`)."""
        self._jump(self._loops[-1][0])

    def leave(self, value: Value | int) -> None:
        """Return `value`."""
        self.write(f"ret {self.returns} {_name(value)}")
        self._closed = True

    def text(self) -> str:
        """The function's IR."""
        ending = [] if self._closed else ["  unreachable"]
        lines = [self._head, "entry:", *self._slots, *self._lines, *ending, "}"]
        return "\n".join(lines)
