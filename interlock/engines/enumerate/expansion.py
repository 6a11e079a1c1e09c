"""The successor function of a system as LLVM IR.

Moves that have a condition in common, such as that no scan is due, stand behind one test of it;
their guards are looked at only where it holds. Behind that, a few moves at a time stand behind a
test whether any of them is enabled, and are then computed without further branches.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import groupby

from interlock.engines.enumerate.lowering import Lowering, Parts
from interlock.kernel.codec import Field
from interlock.kernel.expr import TRUE, Expr, Op, topological
from interlock.kernel.system import Move

_GROUP = 4
# Fewer moves than this do not pay for a test of what they have in common.
_SHARING = 6
# A move with more nodes of its own than this is computed only where it is enabled, in a function
# of its own: LLVM's time grows faster than a function does.
_CHEAP_NODES = 24
_PART_NODES = 600

# A move and its number in the system.
_Numbered = tuple[int, Move]


def _conjuncts(guard: Expr) -> tuple[Expr, ...]:
    return guard.args if guard.op is Op.AND else (guard,)


def _sections(moves: Sequence[_Numbered]) -> list[tuple[Expr, list[_Numbered]]]:
    """The moves in order, in runs with what each run has in common."""
    counted = Counter(part for _, move in moves for part in _conjuncts(move.guard))
    often = {part: n for part, n in counted.items() if n >= _SHARING}

    def shared(numbered: _Numbered) -> Expr:
        parts = [part for part in _conjuncts(numbered[1].guard) if part in often]
        return max(parts, key=lambda part: often[part], default=TRUE)

    runs = [(part, list(run)) for part, run in groupby(moves, shared)]
    return [(part if len(run) >= _SHARING else TRUE, run) for part, run in runs]


class Expansion:
    """Writes a function ``(state, out, moves, count)``, by default called ``expand``.

    The function appends the words of each successor to `out` and the number of its move to
    `moves`, behind the first `count` ones, and returns the new count. One more than it counts
    may be overwritten.

    Parameters
    ----------
    fields : mapping of str to Field
        Where each variable is kept.
    n_words : int
        Words of a state.
    name : str
        What the function is called.
    """

    def __init__(self, fields: Mapping[str, Field], n_words: int, name: str = "expand") -> None:
        self._name = name
        self._fields = fields
        self._n_words = n_words
        self._texts: list[str] = []
        self._lines: list[str] = []
        self._count = "%count"  # the name of the count so far
        self._block = "entry"  # the block that is being written

    def texts(self, moves: Sequence[_Numbered]) -> list[str]:
        """The IR of the function and of those that it calls."""
        lowering = self._new_lowering()
        self._lines = lowering.lines
        for shared, section in _sections(moves):
            first = section[0][0]
            if shared is TRUE:
                self._section(section, lowering)
                continue
            before = self._open(f"s{first}", lowering.truth(shared))
            self._section(section, lowering.inner(self._lines, f"s{first}."))
            self._close(f"s{first}", before)
        self._lines.append(f"  ret i64 {self._count}")
        head = f"i64 @{self._name}(ptr %state, ptr %out, ptr %moves, i64 %count)"
        self._define(head, self._lines)
        return self._texts

    def _new_lowering(self) -> Lowering:
        lowering = Lowering(self._fields, self._n_words, [])
        lowering.load_words()
        return lowering

    def _define(self, head: str, lines: Sequence[str]) -> None:
        self._texts.append("\n".join([f"define {head} {{", "entry:", *lines, "}"]))

    def _open(self, name: str, condition: str) -> tuple[str, str]:
        """Begin a block that runs where `condition` holds; what is to be merged with it."""
        before = (self._count, self._block)
        self._lines += [f"  br i1 {condition}, label %{name}.do, label %{name}.end", f"{name}.do:"]
        self._block = f"{name}.do"
        return before

    def _close(self, name: str, before: tuple[str, str]) -> None:
        count, block = before
        self._lines += [
            f"  br label %{name}.end",
            f"{name}.end:",
            f"  %{name}.count = phi i64 [{count}, %{block}], [{self._count}, %{self._block}]",
        ]
        self._count, self._block = f"%{name}.count", f"{name}.end"

    def _section(self, section: Sequence[_Numbered], lowering: Lowering) -> None:
        guards = {n: lowering.truth(move.guard) for n, move in section}
        known = set(lowering.done)
        for start in range(0, len(section), _GROUP):
            group = section[start : start + _GROUP]
            first = group[0][0]
            wanted = "false"
            for n, _ in group:
                self._lines.append(f"  %any{n} = or i1 {wanted}, {guards[n]}")
                wanted = f"%any{n}"
            before = self._open(f"g{first}", wanted)
            inner = lowering.inner(self._lines, f"g{first}.")
            for n, move in group:
                if self._is_cheap(move, known):
                    words = inner.updated_words(move.updates)
                    self._count = self._append(self._lines, n, words, self._count, guards[n])
                else:
                    self._call(n, move, guards[n])
            self._close(f"g{first}", before)

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

    def _call(self, number: int, move: Move, guard: str) -> None:
        """Write a function of the move's own and call it where the move is enabled."""
        own = self._new_lowering()
        parts = Parts(move.updates.values(), _PART_NODES)
        if len(parts) > 1:
            self._call_parts(own, f"{self._name}.move{number}", parts)
            for root in move.updates.values():
                parts.read(root, own)
        words = own.updated_words(move.updates)
        result = self._append(own.lines, number, words, "%count", "true")
        signature = "(ptr %state, ptr %out, ptr %moves, i64 %count)"
        head = f"internal i64 @{self._name}.move{number}{signature} noinline"
        self._define(head, [*own.lines, f"  ret i64 {result}"])
        before = self._open(f"c{number}", guard)
        arguments = f"(ptr %state, ptr %out, ptr %moves, i64 {self._count})"
        self._lines.append(f"  %n{number} = call i64 @{self._name}.move{number}{arguments}")
        self._count = f"%n{number}"
        self._close(f"c{number}", before)

    def _call_parts(self, caller: Lowering, name: str, parts: Parts) -> None:
        calls = []
        for n in range(len(parts)):
            part = self._new_lowering()
            parts.write(n, part)
            head = f"internal i64 @{name}.{n}(ptr %state, ptr %kept) noinline"
            self._define(head, [*part.lines, "  ret i64 0"])
            calls.append(f"  %part{n} = call i64 @{name}.{n}(ptr %state, ptr %kept)")
        caller.lines += [f"  %kept = alloca [{max(parts.n_kept, 1)} x i64]", *calls]
