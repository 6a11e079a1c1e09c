"""One system as LLVM IR: its successor function and its conditions."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from interlock.engines.enumerate.expansion import Expansion
from interlock.engines.enumerate.lowering import Lowering, check_range, fields_of
from interlock.kernel.codec import WORD_BITS, Codec, Field
from interlock.kernel.evaluate import bounds
from interlock.kernel.expr import FALSE, Expr
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import System


class Program:
    """The IR of a system, with as many conditions as are asked for.

    Parameters
    ----------
    system : System
    codec : Codec
    numbers : collection of int, optional
        The moves that the successor function makes; all where None. Without any there is none.
    """

    def __init__(
        self, system: System, codec: Codec, numbers: Collection[int] | None = None
    ) -> None:
        self._system = system
        self._fields = fields_of(system, codec)
        self._n_words = codec.n_words
        self._texts: list[str] = []
        self._roots: list[Expr] = []
        moves = [
            (n, m)
            for n, m in enumerate(system.moves)
            if m.guard is not FALSE and (numbers is None or n in numbers)
        ]
        self._roots += [m.guard for _, m in moves]
        self._roots += [e for _, m in moves for e in m.updates.values()]
        if numbers is None or moves:
            self._texts += Expansion(self._fields, codec.n_words).texts(moves)

    def add_onward(self) -> None:
        """Add ``onward``, which is ``expand`` without the strikes and clearings of faults."""
        system = self._system
        moves = [
            (n, m)
            for n, m in enumerate(system.moves)
            if m.name in system.onward and m.guard is not FALSE
        ]
        self._texts += Expansion(self._fields, self._n_words, "onward").texts(moves)

    def text(self) -> str:
        """The whole module.

        Raises
        ------
        DeclinedError
            If a value may not fit a 64-bit word.
        """
        check_range(self._system, self._roots)
        return "\n".join(self._texts)

    def add_bits(self, name: str, conditions: Sequence[Expr], inverted: bool = False) -> None:
        """Add a function of a state: bit n of its result is the n-th condition (of up to 64)."""
        self._roots += conditions
        lowering = self._new_lowering()
        result = "0"
        for bit, condition in enumerate(conditions):
            holds = lowering.truth(condition)
            first, second = (0, 1 << bit) if inverted else (1 << bit, 0)
            lowering.lines += [
                f"  %b{bit} = select i1 {holds}, i64 {first}, i64 {second}",
                f"  %r{bit} = or i64 {result}, %b{bit}",
            ]
            result = f"%r{bit}"
        self._define(f"i64 @{name}(ptr %state)", [*lowering.lines, f"  ret i64 {result}"])

    def add_unowed(self) -> None:
        """Add ``unowed(state, into)``: set the bits of the fair moves that a state does not owe."""
        conditions = [m.fair for m in self._system.moves if m.fair is not None]
        lines = []
        for n, start in enumerate(range(0, len(conditions), 64)):
            self.add_bits(f"unowed{n}", conditions[start : start + 64], inverted=True)
            lines += [
                f"  %r{n} = call i64 @unowed{n}(ptr %state)",
                f"  %p{n} = getelementptr i64, ptr %into, i64 {n}",
                f"  %old{n} = load i64, ptr %p{n}",
                f"  %new{n} = or i64 %old{n}, %r{n}",
                f"  store i64 %new{n}, ptr %p{n}",
            ]
        self._define("i64 @unowed(ptr %state, ptr %into)", [*lines, "  ret i64 0"])

    def add_key(self, name: str, exprs: Sequence[Expr], where: Expr) -> tuple[Field, ...]:
        """Add ``name(state, into)``: put the values of `exprs` into one word.

        The function's result is whether `where` holds. Returned is where each value is in the
        word.

        Raises
        ------
        DeclinedError
            If the values together may not fit 64 bits.
        """
        self._roots += [*exprs, where]
        lowering = self._new_lowering()
        lines, fields = lowering.lines, []
        key, shift = "0", 0
        found = bounds(exprs, self._system.intervals)
        for n, expr in enumerate(exprs):
            low, high = found[expr]
            field = Field(0, shift, (high - low).bit_length(), low)
            fields.append(field)
            shift += field.width
            if shift > WORD_BITS:
                raise DeclinedError("a combination of values may not fit a 64-bit word")
            if field.width:
                lines += [
                    f"  %o{n} = sub i64 {lowering.word(expr)}, {low}",
                    f"  %s{n} = shl i64 %o{n}, {field.shift}",
                    f"  %k{n} = or i64 {key}, %s{n}",
                ]
                key = f"%k{n}"
        lines.append(f"  %holds = zext i1 {lowering.truth(where)} to i64")
        lines += [f"  store i64 {key}, ptr %into", "  ret i64 %holds"]
        self._define(f"i64 @{name}(ptr %state, ptr %into)", lines)
        return tuple(fields)

    def _new_lowering(self) -> Lowering:
        lowering = Lowering(self._fields, self._n_words, [])
        lowering.load_words()
        return lowering

    def _define(self, head: str, lines: Sequence[str]) -> None:
        self._texts.append("\n".join([f"define {head} {{", "entry:", *lines, "}"]))
