"""One system as LLVM IR: its successor function and its conditions."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.engines.enumerate.lowering import Lowering, Parts, check_range, fields_of
from interlock.kernel.codec import WORD_BITS, Codec, Field
from interlock.kernel.evaluate import bounds
from interlock.kernel.expr import FALSE, Expr, topological
from interlock.kernel.query import DeclinedError
from interlock.kernel.system import Move, System

# Moves that share one test whether any of them is enabled.
_GROUP = 8
# A move with more nodes of its own than this is computed only where it is enabled, in a function
# of its own: LLVM's time grows faster than a function does.
_CHEAP_NODES = 24
_PART_NODES = 600


class Program:
    """The IR of a system, with as many conditions as are asked for.

    Parameters
    ----------
    system : System
    codec : Codec
    """

    def __init__(self, system: System, codec: Codec) -> None:
        self._system = system
        self._fields = fields_of(system, codec)
        self._n_words = codec.n_words
        self._texts: list[str] = []
        self._roots: list[Expr] = []
        self._expand()

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

    def _expand(self) -> None:
        """Write ``expand(state, successors, moves, count)``.

        It appends the words of each successor and the number of its move behind the first
        `count` ones, and returns the new count. One more than it counts may be overwritten.
        """
        lowering = self._new_lowering()
        numbered = [(n, m) for n, m in enumerate(self._system.moves) if m.guard is not FALSE]
        self._roots += [m.guard for _, m in numbered]
        self._roots += [e for _, m in numbered for e in m.updates.values()]
        guards = {n: lowering.truth(m.guard) for n, m in numbered}
        lines = lowering.lines
        known = set(lowering.done)
        count, block = "%count", "entry"
        for start in range(0, len(numbered), _GROUP):
            group = numbered[start : start + _GROUP]
            wanted = "false"
            for n, _ in group:
                lines.append(f"  %any{n} = or i1 {wanted}, {guards[n]}")
                wanted = f"%any{n}"
            body, after = f"group{start}", f"after{start}"
            lines += [f"  br i1 {wanted}, label %{body}, label %{after}", f"{body}:"]
            inner = lowering.inner(lines, f"g{start}.")
            new_count, new_block = count, body
            for n, move in group:
                if self._is_cheap(move, known):
                    words = inner.updated_words(move.updates)
                    new_count = self._append(lines, n, words, new_count, guards[n])
                else:
                    new_count, new_block = self._call(
                        lines, n, move, guards[n], new_count, new_block
                    )
            lines += [
                f"  br label %{after}",
                f"{after}:",
                f"  %count.{after} = phi i64 [{count}, %{block}], [{new_count}, %{new_block}]",
            ]
            count, block = f"%count.{after}", after
        lines.append(f"  ret i64 {count}")
        self._define("i64 @expand(ptr %state, ptr %out, ptr %moves, i64 %count)", lines)

    @staticmethod
    def _is_cheap(move: Move, known: set[Expr]) -> bool:
        own = sum(node not in known for node in topological(move.updates.values()))
        return own <= _CHEAP_NODES

    def _append(
        self, lines: list[str], number: int, words: Sequence[str], count: str, guard: str
    ) -> str:
        """Write a successor whether it is one or not; only if so does it count."""
        lines.append(f"  %at{number} = mul i64 {count}, {self._n_words}")
        lines.append(f"  %to{number}.0 = getelementptr i64, ptr %out, i64 %at{number}")
        for n, word in enumerate(words):
            place = f"%to{number}.{n}"
            if n:
                lines.append(f"  {place} = getelementptr i64, ptr %to{number}.0, i64 {n}")
            lines.append(f"  store i64 {word}, ptr {place}")
        lines += [
            f"  %m{number} = getelementptr i16, ptr %moves, i64 {count}",
            f"  store i16 {number}, ptr %m{number}",
            f"  %inc{number} = zext i1 {guard} to i64",
            f"  %n{number} = add i64 {count}, %inc{number}",
        ]
        return f"%n{number}"

    def _call_parts(self, caller: Lowering, name: str, parts: Parts) -> None:
        calls = []
        for n in range(len(parts)):
            part = self._new_lowering()
            parts.write(n, part)
            head = f"internal i64 @{name}.{n}(ptr %state, ptr %kept) noinline"
            self._define(head, [*part.lines, "  ret i64 0"])
            calls.append(f"  %part{n} = call i64 @{name}.{n}(ptr %state, ptr %kept)")
        caller.lines += [f"  %kept = alloca [{max(parts.n_kept, 1)} x i64]", *calls]

    def _call(
        self, lines: list[str], number: int, move: Move, guard: str, count: str, block: str
    ) -> tuple[str, str]:
        own = self._new_lowering()
        parts = Parts(move.updates.values(), _PART_NODES)
        if len(parts) > 1:
            self._call_parts(own, f"move{number}", parts)
            for root in move.updates.values():
                parts.read(root, own)
        words = own.updated_words(move.updates)
        result = self._append(own.lines, number, words, "%count", "true")
        own.lines.append(f"  ret i64 {result}")
        self._define(
            f"internal i64 @move{number}(ptr %state, ptr %out, ptr %moves, i64 %count) noinline",
            own.lines,
        )
        lines += [
            f"  br i1 {guard}, label %do{number}, label %done{number}",
            f"do{number}:",
            f"  %c{number} = call i64 @move{number}(ptr %state, ptr %out, ptr %moves, i64 {count})",
            f"  br label %done{number}",
            f"done{number}:",
            f"  %n{number} = phi i64 [{count}, %{block}], [%c{number}, %do{number}]",
        ]
        return f"%n{number}", f"done{number}"
