"""Packed states: every variable in its own bits of a few 64-bit words."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

from interlock.kernel.evaluate import State
from interlock.kernel.system import System, Variable

WORD_BITS = 64


@dataclass(frozen=True)
class Field:
    """Where a variable's value, less its least value, is kept."""

    word: int
    shift: int
    width: int
    lo: int

    @property
    def mask(self) -> int:
        """The field's bits, in place in its word."""
        return ((1 << self.width) - 1) << self.shift


@dataclass(frozen=True)
class Codec:
    """The layout of a system's states; a field never straddles two words.

    >>> from interlock.kernel.system import BOOL, Variable
    >>> codec = Codec.of([Variable("a", BOOL, 0), Variable("b", BOOL, 1)])
    >>> codec.pack((0, 1)), codec.unpack((2,))
    ((2,), (0, 1))
    """

    fields: tuple[Field, ...]
    n_words: int

    @classmethod
    def of(cls, variables: Sequence[Variable]) -> Codec:
        """Lay out `variables` in order, first fit into the words opened so far."""
        used: list[int] = [0]
        fields = []
        for variable in variables:
            width = (variable.domain.size - 1).bit_length()
            word = next((w for w, bits in enumerate(used) if bits + width <= WORD_BITS), len(used))
            if word == len(used):
                used.append(0)
            fields.append(Field(word, used[word], width, variable.domain.lo))
            used[word] += width
        return cls(tuple(fields), len(used))

    @classmethod
    def of_system(cls, system: System) -> Codec:
        """The layout for the states of `system`."""
        return cls.of(system.variables)

    @cached_property
    def n_bits(self) -> int:
        """How many bits of a state are used."""
        return sum(field.width for field in self.fields)

    def pack(self, state: State) -> tuple[int, ...]:
        """The words of `state`."""
        words = [0] * self.n_words
        for field, value in zip(self.fields, state, strict=True):
            words[field.word] |= (value - field.lo) << field.shift
        return tuple(words)

    def unpack(self, words: Sequence[int]) -> State:
        """The state in `words`."""
        return tuple(
            ((int(words[f.word]) >> f.shift) & ((1 << f.width) - 1)) + f.lo for f in self.fields
        )
