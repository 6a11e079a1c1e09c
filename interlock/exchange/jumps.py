"""Jumps forward as conditions: what is jumped over is done where nobody jumps over it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from interlock.base.errors import Place, nearest
from interlock.exchange.logic import Item, Jump
from interlock.exchange.making import Making
from interlock.exchange.nodes import Node
from interlock.st import syntax as sx

_MOST_JUMPS = 200


def without_jumps(items: Sequence[Item], making: Making) -> tuple[sx.Statement, ...]:
    """The statements of `items`, those that a jump passes over under the condition that none does.

    Raises
    ------
    InputError
        Where a jump leads back or nowhere.
    """
    jumps = [(at, item) for at, item in enumerate(items) if isinstance(item, Jump)]
    if not jumps:
        return tuple(item for item in items if not isinstance(item, Jump | Node))
    labels = _labels(items)
    if len(jumps) > _MOST_JUMPS:
        raise jumps[_MOST_JUMPS][1].node.refuse(f"more than {_MOST_JUMPS} jumps in one body")
    flags: dict[int, sx.Name] = {}
    ends: dict[int, int] = {}
    begin: list[sx.Statement] = []
    for at, jump in jumps:
        ends[at] = _end(jump, at, labels)
        flags[at] = making.temporary(f"jump_{jump.node.id}", _bool(jump.place), jump.place)
        # An action may be executed several times while its variables stay.
        begin.append(sx.Assign(flags[at], sx.Truth(False, jump.place), jump.place))
    done: list[tuple[tuple[int, ...], sx.Statement]] = []
    over: list[int] = []
    for at, item in enumerate(items):
        over = [jump for jump in over if ends[jump] > at]
        if isinstance(item, Jump):
            done.append((tuple(over), sx.Assign(flags[at], item.condition, item.place)))
            over.append(at)
        elif not isinstance(item, Node):
            done.append((tuple(over), item))
    found = begin
    for jumped, group in groupby(done, key=lambda pair: pair[0]):
        body = tuple(statement for _, statement in group)
        if jumped:
            body = (_unless([flags[at] for at in jumped], body),)
        found += body
    return tuple(found)


def _labels(items: Sequence[Item]) -> dict[str, int]:
    found: dict[str, int] = {}
    for at, item in enumerate(items):
        if isinstance(item, Node):
            name = item.element.get("label")
            if name.casefold() in found:
                raise item.refuse(f"the label '{name}' stands twice in one body")
            found[name.casefold()] = at
    return found


def _end(jump: Jump, at: int, labels: dict[str, int]) -> int:
    end = labels.get(jump.label.casefold())
    if end is None:
        raise jump.node.refuse(f"there is no label '{jump.label}'{nearest(jump.label, labels)}")
    if end < at:
        says = f"the jump to '{jump.label}' leads back, which is a loop; write that loop in ST"
        raise jump.node.refuse(says)
    return end


def _unless(flags: list[sx.Name], body: tuple[sx.Statement, ...]) -> sx.Statement:
    place = body[0].place
    any_: sx.Expression = flags[0] if len(flags) == 1 else sx.Junction("OR", tuple(flags), place)
    return sx.If((sx.Branch(sx.Unary("NOT", any_, place), body, place),), (), place)


def _bool(place: Place) -> sx.TypeRef:
    return sx.TypeRef("BOOL", None, None, place)
