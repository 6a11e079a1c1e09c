"""How ranges are told on a terminal and as data."""

from __future__ import annotations

import json
from fractions import Fraction
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from interlock.commands.margins.search import Side
from interlock.commands.margins.study import Margins, Range, Verdicts
from interlock.kernel.requirement import Outcome
from interlock.telling.program import between_data, between_told

LEGEND = (
    "Each row: one time alone is given other values, in steps of the unit, and the model explored "
    "with each; in the range every verdict stays as it is. Values are tried at doubling distances, "
    "then by bisection, so one edge in each direction is assumed, and its neighbours on both sides "
    "are tried. Where these tell otherwise every value up to the first change is tried (each). A "
    "bound that holds has its edge where its margin says, and nothing is assumed."
)


def seconds(ms: Fraction) -> str:
    """A time as it is told: ``2.5 s``."""
    return f"{float(ms) / 1000:g} s"


def changes(before: Verdicts, after: Verdicts) -> list[str]:
    """What becomes of requirements at an edge."""
    holds = Outcome.HOLDS.value
    both = [(id_, before.get(id_, holds), after.get(id_, holds)) for id_ in {**before, **after}]
    return [f"{id_} {now}" for id_, was, now in both if was != now]


def side_told(one: Range, side: Side[Verdicts], sign: int) -> str:
    """What ends a range in one direction, in words."""
    quantity = one.quantity
    if not one.is_asked:
        return "not asked"

    def at(steps: int) -> str:
        return seconds(quantity.value_ms + sign * steps * one.unit_ms)

    if side.n_other is not None:
        lost = ", ".join(changes(one.before, side.found or {}))
        told = f"at {at(side.n_other)} {lost}"
        if not side.is_decided:
            return f"{told}; undecided from {at(side.n_same + 1)} on"
        return told + ("; the same again farther away" if side.has_more_edges else "")
    if not side.is_decided:
        return f"undecided from {at(side.n_same + 1)} on"
    if one.is_by_margin:
        return "any"
    return quantity.why_down if sign < 0 else quantity.why_up


def how_told(one: Range) -> str:
    """How a range is known, in a word."""
    if not one.is_asked:
        return ""
    if one.is_by_margin:
        return "margin"
    if one.down.is_each_tried and one.up.is_each_tried:
        return "each"
    return "one edge assumed"


def write(console: Console, found: Margins) -> None:
    """Print the ranges, the nearest to their edge first."""
    console.print(render(found))


def render(found: Margins) -> RenderableType:
    """The table of ranges."""
    model = found.model
    parts: list[RenderableType] = [
        Text(model.title, style="bold"),
        Text(between_told(model)),
        Text(_verdicts_told(found)),
        "",
    ]
    table = Table(box=None, pad_edge=False, header_style="bold")
    for head in ("time", "is", "does from", "to", "below", "above", "known by"):
        table.add_column(head, overflow="fold")
    for number, one in enumerate(found.ranges):
        style = "bold" if number < 2 and one.edge_units is not None else ""
        table.add_row(
            *(Text(cell) for cell in row_of(one)),
            style=style,
        )
    parts += [table, ""]
    nearest = [one for one in found.ranges[:2] if one.edge_units is not None]
    if nearest:
        told = " and ".join(f"{one.quantity.name} ({_away(one)})" for one in nearest)
        parts.append(Text(f"nearest to an edge: {told}"))
    if found.limit:
        parts.append(Text(f"limit hit, {found.limit}: not all edges are known", style="yellow"))
    if model.quantities:
        names = ", ".join(quantity.name for quantity in model.quantities)
        parts.append(Text(f"not varied: how fast {names} may change"))
    parts += [Text(f"{found.n_explorations:,} explorations, {found.seconds:.1f} s"), Text(LEGEND)]
    return Group(*parts)


def row_of(one: Range) -> tuple[str, ...]:
    """The cells of a range: whose, its value, from, to, what lies below, above, how it is known."""
    return (
        one.quantity.name,
        seconds(one.quantity.value_ms),
        seconds(one.least_ms) if one.is_asked else "",
        ("any" if one.is_by_margin and one.up.n_other is None else seconds(one.greatest_ms))
        if one.is_asked
        else "",
        side_told(one, one.down, -1),
        side_told(one, one.up, 1),
        how_told(one),
    )


def _away(one: Range) -> str:
    return f"{seconds(Fraction((one.edge_units or 0) * one.unit_ms))} away"


def _verdicts_told(found: Margins) -> str:
    by_outcome: dict[str, list[str]] = {}
    for finding in found.base.findings:
        by_outcome.setdefault(finding.says, []).append(finding.requirement.id)
    return "as it is: " + "; ".join(f"{says}: {', '.join(ids)}" for says, ids in by_outcome.items())


def to_json(found: Margins) -> str:
    """The ranges as data."""
    data = {
        "model": found.model.name,
        "title": found.model.title,
        **between_data(found.model),
        "unit_ms": None if found.model.timing is None else found.model.timing.unit_ms,
        "verdicts": {f.requirement.id: f.says for f in found.base.findings},
        "outcome": found.outcome.value,
        "limit": found.limit,
        "explorations": found.n_explorations,
        "ranges": [_range_data(one) for one in found.ranges],
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _range_data(one: Range) -> dict[str, Any]:
    quantity = one.quantity
    return {
        "of": quantity.what,
        "which": quantity.which,
        "file": quantity.place.file.replace("\\", "/").rsplit("/", 1)[-1],
        "line": quantity.place.line,
        "value_ms": float(quantity.value_ms),
        "asked": one.is_asked,
        "known_by": how_told(one),
        "below": _side_data(one, one.down, -1),
        "above": _side_data(one, one.up, 1),
    }


def _side_data(one: Range, side: Side[Verdicts], sign: int) -> dict[str, Any]:
    def at(steps: int) -> float:
        return float(one.quantity.value_ms + sign * steps * one.unit_ms)

    return {
        "does_up_to_ms": at(side.n_same),
        "edge_ms": None if side.n_other is None else at(side.n_other),
        "changes": [] if side.found is None else changes(one.before, side.found),
        "decided": one.is_asked and side.is_decided,
        "each_tried": side.is_each_tried,
        "more_edges": side.has_more_edges,
        "ends": side_told(one, side, sign),
        "tried_ms": [at(steps) for steps in side.tried],
    }
