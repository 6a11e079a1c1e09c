"""Arrays outside Python's heap: they grow without a copy, and untouched pages cost nothing."""

from __future__ import annotations

import ctypes
import os
from functools import cache
from typing import Any


@cache
def _library() -> Any:
    library = ctypes.cdll.msvcrt if os.name == "nt" else ctypes.CDLL(None)
    for name, n_args in (("calloc", 2), ("realloc", 2)):
        function = getattr(library, name)
        function.restype = ctypes.c_void_p
        function.argtypes = [ctypes.c_void_p] * (n_args - 1) + [ctypes.c_size_t]
    library.calloc.argtypes = [ctypes.c_size_t, ctypes.c_size_t]
    library.free.argtypes = [ctypes.c_void_p]
    library.free.restype = None
    return library


class Array:
    """Zeroed elements of `width` bytes each.

    Raises
    ------
    MemoryError
        If the machine has not that much.
    """

    def __init__(self, width: int, length: int) -> None:
        self.width = width
        self.length = length
        self._library = _library()
        self.address = self._checked(self._library.calloc(max(length, 1), width))

    def __del__(self) -> None:
        if getattr(self, "address", 0):
            self._library.free(self.address)
            self.address = 0

    def _checked(self, address: int | None) -> int:
        if not address:
            raise MemoryError(f"no memory for {self.length:,} × {self.width} bytes")
        return address

    def grow(self, length: int) -> None:
        """Make room for more elements; the new ones hold anything."""
        new = self._library.realloc(self.address, max(length, 1) * self.width)
        self.address = self._checked(new)
        self.length = length

    def __getitem__(self, number: int) -> int:
        raw = ctypes.string_at(self.address + number * self.width, self.width)
        return int.from_bytes(raw, "little")

    def __setitem__(self, number: int, value: int) -> None:
        raw = value.to_bytes(self.width, "little")
        ctypes.memmove(self.address + number * self.width, raw, self.width)

    def __len__(self) -> int:
        return self.length

    def part(self, first: int, stop: int) -> list[int]:
        """Several elements."""
        return [self[number] for number in range(first, stop)]

    def fill(self, content: bytes) -> None:
        """Overwrite the first elements."""
        ctypes.memmove(self.address, content, len(content))

    def content(self, length: int) -> bytes:
        """A copy of the first elements."""
        return ctypes.string_at(self.address, length * self.width)
