"""A call as it is passed on: its arguments, and where it stands."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.base.errors import Place
from interlock.st import syntax as sx


@dataclass(frozen=True)
class Call:
    """The arguments of a call, and where it stands."""

    inputs: tuple[sx.InputArgument, ...]
    outputs: tuple[sx.OutputArgument, ...]
    place: Place


def call_of(e: sx.Call) -> Call:
    """The call that stands in an expression."""
    positional = tuple(sx.InputArgument("", a, a.place) for a in e.arguments)
    return Call((*positional, *e.named), e.outputs, e.place)
