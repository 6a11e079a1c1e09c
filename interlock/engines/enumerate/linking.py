"""Systems compiled in parts, so that of a changed one only what changed is compiled anew."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.program import Program
from interlock.kernel.codec import Codec
from interlock.kernel.expr import FALSE, Expr
from interlock.kernel.system import MoveKind, System

# Parts that are kept for the next changed system, and the moves of one.
_KEPT_PARTS = 32
_PART_MOVES = 12


class Linked:
    """A library with those that it calls, which have to live as long."""

    def __init__(self, library: Library, parts: Sequence[Library]) -> None:
        self._library = library
        self._parts = tuple(parts)

    def address(self, name: str) -> int:
        """Where a function starts."""
        return self._library.address(name)

    def function(self, name: str, n_args: int) -> Any:
        """A function of 64-bit words as a Python callable."""
        return self._library.function(name, n_args)


class Compiler:
    """Compiles systems in parts, and keeps the parts that the next one is likely to have, too."""

    def __init__(self, codec: Codec) -> None:
        self._codec = codec
        self._kept: dict[object, Library] = {}

    def system(self, system: System, conditions: Mapping[str, Sequence[Expr]]) -> Linked:
        """The successor function, made of the scan and of a few moves each, and conditions."""
        scans = [n for n, m in enumerate(system.moves) if m.kind is MoveKind.SCAN]
        others = [n for n in range(len(system.moves)) if n not in scans]
        lines = ["define i64 @expand(ptr %s, ptr %o, ptr %m, i64 %c0) {"]
        groups = [others[n : n + _PART_MOVES] for n in range(0, len(others), _PART_MOVES)]
        parts = [part for part in (self.part(system, group) for group in (*groups, scans)) if part]
        for number, part in enumerate(parts):
            call = f"call i64 %f{number}(ptr %s, ptr %o, ptr %m, i64 %c{number})"
            lines += [
                f"  %f{number} = inttoptr i64 {part.address('expand')} to ptr",
                f"  %c{number + 1} = {call}",
            ]
        lines += [f"  ret i64 %c{len(parts)}", "}"]
        program = Program(system, self._codec, ())
        for name, exprs in conditions.items():
            program.add_bits(name, exprs)
        if any(move.fair is not None for move in system.moves):
            program.add_unowed()
        return Linked(Library("\n".join([*lines, program.text()]), optimised=False), parts)

    def part(self, system: System, numbers: Sequence[int]) -> Library | None:
        """The successor function of some moves; None where none of them can be made."""
        moves = [(n, system.moves[n]) for n in numbers if system.moves[n].guard is not FALSE]
        if not moves:
            return None
        key = tuple((n, m.guard, tuple(m.updates.items())) for n, m in moves)
        library = self._kept.pop(key, None)
        if library is None:
            program = Program(system, self._codec, [n for n, _ in moves])
            library = Library(program.text(), optimised=False)
        self._kept[key] = library  # the one used last stands last
        while len(self._kept) > _KEPT_PARTS:
            del self._kept[next(iter(self._kept))]
        return library
