"""Systems compiled in parts, so that of a changed one only what changed is compiled anew."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from interlock.engines.enumerate.jit import Library
from interlock.engines.enumerate.program import Program
from interlock.kernel.codec import Codec
from interlock.kernel.expr import FALSE, Expr
from interlock.kernel.system import MoveKind, System

# Parts that are kept for the next changed system, and the moves of one.
_KEPT_PARTS = 64
_PART_MOVES = 12


class Linked:
    """A system's functions, each in a library of its own, by their names.

    Parameters
    ----------
    functions : mapping of str to (Library, str)
        Where each function is, and what it is called there.
    parts : sequence of Library
        What these call, which has to live as long.
    """

    def __init__(
        self, functions: Mapping[str, tuple[Library, str]], parts: Sequence[Library]
    ) -> None:
        self._functions = functions
        self._parts = tuple(parts)

    def address(self, name: str) -> int:
        """Where a function starts."""
        library, called = self._functions[name]
        return library.address(called)

    def function(self, name: str, n_args: int) -> Any:
        """A function of 64-bit words as a Python callable."""
        library, called = self._functions[name]
        return library.function(called, n_args)


class Compiler:
    """Compiles systems in parts, and keeps the parts that the next one is likely to have, too."""

    def __init__(self, codec: Codec) -> None:
        self._codec = codec
        self._kept: dict[object, Library] = {}

    def system(self, system: System, conditions: Mapping[str, Sequence[Expr]]) -> Linked:
        """The successor function, made of the scan and of a few moves each, and conditions."""
        scans = [n for n, m in enumerate(system.moves) if m.kind is MoveKind.SCAN]
        others = [n for n in range(len(system.moves)) if n not in scans]
        groups = [others[n : n + _PART_MOVES] for n in range(0, len(others), _PART_MOVES)]
        parts = [part for part in (self.part(system, group) for group in (*groups, scans)) if part]
        functions = {"expand": (Library(_chain(parts), optimised=False), "expand")}
        for name, exprs in conditions.items():
            functions[name] = (self._conditions(system, exprs), "bits")
        if any(move.fair is not None for move in system.moves):
            functions["unowed"] = (self._unowed(system), "unowed")
        return Linked(functions, parts)

    def part(self, system: System, numbers: Sequence[int]) -> Library | None:
        """The successor function of some moves; None where none of them can be made."""
        moves = [(n, system.moves[n]) for n in numbers if system.moves[n].guard is not FALSE]
        if not moves:
            return None
        key = tuple((n, m.guard, tuple(m.updates.items())) for n, m in moves)
        return self._made(key, lambda: Program(system, self._codec, [n for n, _ in moves]))

    def _conditions(self, system: System, exprs: Sequence[Expr]) -> Library:
        def program() -> Program:
            made = Program(system, self._codec, ())
            made.add_bits("bits", exprs)
            return made

        return self._made(("bits", *exprs), program)

    def _unowed(self, system: System) -> Library:
        def program() -> Program:
            made = Program(system, self._codec, ())
            made.add_unowed()
            return made

        return self._made(("unowed", *(move.fair for move in system.moves)), program)

    def _made(self, key: object, program: Callable[[], Program]) -> Library:
        library = self._kept.pop(key, None)
        if library is None:
            library = Library(program().text(), optimised=False)
        self._kept[key] = library  # the one used last stands last
        while len(self._kept) > _KEPT_PARTS:
            del self._kept[next(iter(self._kept))]
        return library


def _chain(parts: Sequence[Library]) -> str:
    """A successor function that calls those of its parts in turn."""
    lines = ["define i64 @expand(ptr %s, ptr %o, ptr %m, i64 %c0) {"]
    for number, part in enumerate(parts):
        call = f"call i64 %f{number}(ptr %s, ptr %o, ptr %m, i64 %c{number})"
        lines += [
            f"  %f{number} = inttoptr i64 {part.address('expand')} to ptr",
            f"  %c{number + 1} = {call}",
        ]
    return "\n".join([*lines, f"  ret i64 %c{len(parts)}", "}"])
