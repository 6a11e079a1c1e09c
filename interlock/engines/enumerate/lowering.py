"""Expressions as straight-line LLVM IR over the words of a packed state."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from interlock.kernel import expr as ex
from interlock.kernel.codec import Codec, Field
from interlock.kernel.evaluate import bounds
from interlock.kernel.expr import Expr, Op
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import System

_WORD = (1 << 64) - 1
_LEAST, _GREATEST = -(1 << 63), (1 << 63) - 1

# A lowered node: its type (i1 for a truth value, i64) and its name, or a constant.
_Lowered = tuple[str, str]

_BINARY = {Op.ADD: "add", Op.SUB: "sub", Op.MUL: "mul"}


def check_range(system: System, roots: Sequence[Expr]) -> None:
    """Make sure that every value fits a signed 64-bit word.

    Raises
    ------
    DeclinedError
        If one may not.
    """
    for variable in system.variables:
        if variable.domain.size > 1 << 64:
            raise DeclinedError(f"variable {variable.name} does not fit a 64-bit word")
    for node, (low, high) in bounds(roots, system.intervals).items():
        if low < _LEAST or high > _GREATEST:
            text = ex.show(node)
            raise DeclinedError(f"a value may not fit a 64-bit word: {text[:80]}")


class Lowering:
    """Writes expressions as instructions; a node that was written is not written again.

    Parameters
    ----------
    fields : mapping of str to Field
        Where each variable is kept.
    n_words : int
    lines : list of str
        Receives the instructions.
    prefix : str
        Begins the names of values, so that several lowerings may share a function.
    """

    def __init__(
        self, fields: Mapping[str, Field], n_words: int, lines: list[str], prefix: str = "t"
    ) -> None:
        self.fields = fields
        self.n_words = n_words
        self.lines = lines
        self.prefix = prefix
        self.done: dict[Expr, _Lowered] = {}
        self._n_names = 0

    def inner(self, lines: list[str], prefix: str) -> Lowering:
        """A lowering for a block that is only sometimes run; it may use what was written here."""
        new = Lowering(self.fields, self.n_words, lines, prefix)
        new.done = dict(self.done)
        return new

    def load_words(self) -> None:
        """Read the words of the state at ``%state`` as ``%w0``, ``%w1`` and so on."""
        for n in range(self.n_words):
            self.lines.append(f"  %p{n} = getelementptr i64, ptr %state, i64 {n}")
            self.lines.append(f"  %w{n} = load i64, ptr %p{n}")

    def _define(self, text: str) -> str:
        name = f"%{self.prefix}{self._n_names}"
        self._n_names += 1
        self.lines.append(f"  {name} = {text}")
        return name

    def lower(self, root: Expr) -> _Lowered:
        """Write `root` and everything below it that is not written yet."""
        found = self.done.get(root)
        if found is not None:
            return found
        stack = [root]
        while stack:
            node = stack[-1]
            missing = [arg for arg in self._needed(node) if arg not in self.done]
            if missing:
                stack.extend(reversed(missing))
                continue
            stack.pop()
            if node not in self.done:
                self.done[node] = self._node(node)
        return self.done[root]

    def _needed(self, node: Expr) -> Sequence[Expr]:
        return () if self.is_test(node) else node.args

    @staticmethod
    def is_test(node: Expr) -> bool:
        """Whether the node compares a variable with a constant: its bits are compared in place."""
        return node.op is Op.EQ and node.args[0].op is Op.VAR and node.args[1].op is Op.CONST

    def truth(self, root: Expr) -> str:
        """`root` as an i1."""
        kind, name = self.lower(root)
        if kind == "const":
            return "true" if name != "0" else "false"
        return name if kind == "i1" else self._define(f"icmp ne i64 {name}, 0")

    def word(self, root: Expr) -> str:
        """`root` as an i64."""
        kind, name = self.lower(root)
        return self._define(f"zext i1 {name} to i64") if kind == "i1" else name

    def _node(self, node: Expr) -> _Lowered:
        match node.op:
            case Op.CONST:
                return ("const", str(node.value))
            case Op.VAR:
                return self._variable(self.fields[node.name])
            case Op.NOT:
                return ("i1", self._define(f"xor i1 {self.truth(node.args[0])}, true"))
            case Op.AND | Op.OR:
                return self._junction(node)
            case Op.EQ:
                return self._equal(node)
            case Op.LT:
                a, b = (self.word(arg) for arg in node.args)
                return ("i1", self._define(f"icmp slt i64 {a}, {b}"))
            case Op.ITE:
                return self._choice(node)
            case _:
                return ("i64", self._arithmetic(node))

    def _variable(self, field: Field) -> _Lowered:
        if field.width == 0:
            return ("const", str(field.lo))
        bits = f"%w{field.word}"
        if field.shift:
            bits = self._define(f"lshr i64 {bits}, {field.shift}")
        if field.width == 1 and field.lo == 0:
            return ("i1", self._define(f"trunc i64 {bits} to i1"))
        if field.shift + field.width < 64:
            bits = self._define(f"and i64 {bits}, {(1 << field.width) - 1}")
        if field.lo:
            bits = self._define(f"add i64 {bits}, {field.lo}")
        return ("i64", bits)

    def _junction(self, node: Expr) -> _Lowered:
        operation = "and" if node.op is Op.AND else "or"
        result = self.truth(node.args[0])
        for arg in node.args[1:]:
            result = self._define(f"{operation} i1 {result}, {self.truth(arg)}")
        return ("i1", result)

    def _equal(self, node: Expr) -> _Lowered:
        if self.is_test(node):
            field = self.fields[node.args[0].name]
            offset = node.args[1].value - field.lo
            if not 0 <= offset < 1 << field.width:
                return ("const", "0")
            if field.width == 0:
                return ("const", "1")
            bits = f"%w{field.word}"
            if field.width < 64:
                bits = self._define(f"and i64 {bits}, {field.mask}")
            return ("i1", self._define(f"icmp eq i64 {bits}, {offset << field.shift}"))
        a, b = node.args
        if self.lower(a)[0] == self.lower(b)[0] == "i1":
            return ("i1", self._define(f"icmp eq i1 {self.truth(a)}, {self.truth(b)}"))
        return ("i1", self._define(f"icmp eq i64 {self.word(a)}, {self.word(b)}"))

    def _choice(self, node: Expr) -> _Lowered:
        condition, *branches = node.args
        chosen = self.truth(condition)
        kinds = [self.lower(branch) for branch in branches]
        if all(kind == "i1" or (kind == "const" and n in ("0", "1")) for kind, n in kinds):
            a, b = (self.truth(branch) for branch in branches)
            return ("i1", self._define(f"select i1 {chosen}, i1 {a}, i1 {b}"))
        a, b = (self.word(branch) for branch in branches)
        return ("i64", self._define(f"select i1 {chosen}, i64 {a}, i64 {b}"))

    def _arithmetic(self, node: Expr) -> str:
        a, b = (self.word(arg) for arg in node.args)
        if node.op in _BINARY:
            return self._define(f"{_BINARY[node.op]} i64 {a}, {b}")
        if node.op in (Op.MIN, Op.MAX):
            less = self._define(f"icmp slt i64 {a}, {b}")
            first, second = (a, b) if node.op is Op.MIN else (b, a)
            return self._define(f"select i1 {less}, i64 {first}, i64 {second}")
        # The kernel gives 0 where the divisor is 0; the processor would trap.
        by_zero = self._define(f"icmp eq i64 {b}, 0")
        divisor = self._define(f"select i1 {by_zero}, i64 1, i64 {b}")
        operation = "sdiv" if node.op is Op.DIV else "srem"
        result = self._define(f"{operation} i64 {a}, {divisor}")
        return self._define(f"select i1 {by_zero}, i64 0, i64 {result}")

    def updated_words(self, updates: Mapping[str, Expr]) -> list[str]:
        """The state's words after `updates`."""
        constants, masks = [0] * self.n_words, [0] * self.n_words
        parts: list[list[str]] = [[] for _ in range(self.n_words)]
        for name, update in updates.items():
            field = self.fields[name]
            if field.width == 0 or (update.op is Op.VAR and update.name == name):
                continue
            masks[field.word] |= field.mask
            if update.op is Op.CONST:
                constants[field.word] |= (update.value - field.lo) << field.shift
            else:
                parts[field.word].append(self._placed(field, update))
        words = []
        for n, mask in enumerate(masks):
            word = f"%w{n}"
            if mask:
                word = self._define(f"and i64 {word}, {_WORD & ~mask}")
            for part in parts[n]:
                word = self._define(f"or i64 {word}, {part}")
            if constants[n]:
                word = self._define(f"or i64 {word}, {constants[n]}")
            words.append(word)
        return words

    def _placed(self, field: Field, update: Expr) -> str:
        value = self.word(update)
        if field.lo:
            value = self._define(f"sub i64 {value}, {field.lo}")
        return self._define(f"shl i64 {value}, {field.shift}") if field.shift else value


def fields_of(system: System, codec: Codec) -> dict[str, Field]:
    """Where each variable of `system` is kept."""
    return {v.name: f for v, f in zip(system.variables, codec.fields, strict=True)}


class Parts:
    """Large expressions as several functions, each of which leaves values for the later ones.

    LLVM's time grows faster than a function does, so that one function of ten thousand nodes
    would take longer to compile than many a system to explore.

    Parameters
    ----------
    roots : iterable of Expr
    size : int
        Most nodes of one part.
    """

    def __init__(self, roots: Iterable[Expr], size: int) -> None:
        self._roots = set(roots)
        order = [n for n in ex.topological(self._roots) if n.args and not Lowering.is_test(n)]
        self._parts = [order[start : start + size] for start in range(0, len(order), size)]
        part_of = {node: n for n, part in enumerate(self._parts) for node in part}
        # Those that a later part reads, too.
        self._kept = set(self._roots)
        for node, part in part_of.items():
            self._kept.update(arg for arg in node.args if part_of.get(arg, part) < part)
        self._places: dict[Expr, _Lowered] = {}
        self.n_kept = 0

    def __len__(self) -> int:
        return len(self._parts)

    def write(self, number: int, lowering: Lowering) -> None:
        """Write one part; its values are read from and left at ``%kept``."""
        for node in self._parts[number]:
            for arg in node.args:
                self.read(arg, lowering)
            lowering.lower(node)
            if node in self._kept:
                self._keep(node, lowering)

    def _keep(self, node: Expr, lowering: Lowering) -> None:
        kind, name = lowering.lower(node)
        if kind == "const":
            self._places[node] = (kind, name)
            return
        slot, self.n_kept = self.n_kept, self.n_kept + 1
        self._places[node] = (kind, str(slot))
        value = lowering.word(node)
        lowering.lines += [
            f"  %keep{slot} = getelementptr i64, ptr %kept, i64 {slot}",
            f"  store i64 {value}, ptr %keep{slot}",
        ]

    def read(self, node: Expr, lowering: Lowering) -> None:
        """Make a value of an earlier part known to `lowering`, where there is one."""
        if node in lowering.done or node not in self._places:
            return
        kind, place = self._places[node]
        if kind != "const":
            lowering.lines += [
                f"  %held{place} = getelementptr i64, ptr %kept, i64 {place}",
                f"  %read{place} = load i64, ptr %held{place}",
            ]
            name = f"%read{place}"
            if kind == "i1":
                name = f"%bit{place}"
                lowering.lines.append(f"  {name} = trunc i64 %read{place} to i1")
            lowering.done[node] = (kind, name)
        else:
            lowering.done[node] = (kind, place)
