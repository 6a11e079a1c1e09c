"""How a fault tree and its figures are told on a terminal."""

from __future__ import annotations

import math

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from interlock.reliability.fault_tree import FaultTree
from interlock.reliability.figures import two_figures
from interlock.reliability.quantify import CutSet, CutSets, Importance, Measure, Solution

DEFINITIONS = (
    "Fussell–Vesely: part of the probability that comes from sets with the event. Criticality: "
    "part that goes if the event is made impossible. RAW, RRW: factor by which the probability "
    "rises if the event is certain, falls if it is impossible."
)


def render(solution: Solution, digits: int = 2, max_order: int | None = None) -> RenderableType:
    """Minimal sets, probability and importance of a tree.

    Parameters
    ----------
    solution : Solution
    digits : int, optional
        Significant digits, as its author's figures bear them; failure data bear two.
    max_order : int, optional
        List only the sets with at most so many events; every figure is of all of them.
    """
    tree = solution.tree
    rows: list[RenderableType] = [Text(tree.title or tree.top, style="bold")]
    if tree.source:
        rows.append(Text(f"Source: {tree.source}"))
    found = solution.cut_sets(max_order)
    rows += ["", _sets(solution, found, digits), "", _figures(solution, found, digits), ""]
    rows.append(_importance(solution))
    rows.append(Text(DEFINITIONS))
    if tree.assumptions:
        rows.append(Text(f"Assumptions: {'; '.join(tree.assumptions)}."))
    rows += [Text(str(warning), style="yellow") for warning in tree.warnings]
    return Group(*rows)


def figure(x: float, digits: int) -> str:
    """`x` with so many significant digits."""
    return two_figures(x) if digits == 2 else f"{x:.{digits - 1}e}".replace("e-0", "e-")


def _sets(solution: Solution, found: CutSets, digits: int) -> RenderableType:
    kind = "minimal cut sets" if solution.coherent else "prime implicants"
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in (kind, "", "probability"):
        table.add_column(heading)
    for one in found.sets:
        chance = figure(solution.set_probability(one), digits)
        table.add_row(_names(solution.tree, one), escape(words_of(solution.tree, one)), chance)
    return table


def _names(tree: FaultTree, one: CutSet) -> str:
    names = [event.name for event in tree.in_order(one.occur)]
    names += [f"not {event.name}" for event in tree.in_order(one.absent)]
    return "{" + ", ".join(names) + "}"


def words_of(tree: FaultTree, one: CutSet) -> str:
    """A set in the trade's words."""
    words = [event.label for event in tree.in_order(one.occur)]
    words += [f"not: {event.label}" for event in tree.in_order(one.absent)]
    return "; ".join(words)


def _figures(solution: Solution, found: CutSets, digits: int) -> RenderableType:
    bound = solution.min_cut_upper_bound
    counts = found.n_by_order
    listed = "" if found.complete else f"; {len(found.sets)} of them listed"
    orders = ", ".join(f"{n} of order {order}" for order, n in enumerate(counts) if n)
    lines = [
        f"{sum(counts)} sets: {orders or 'none'}{listed}",
        f"probability of the top event  {figure(solution.probability, digits)}",
        f"sum over the sets             {figure(solution.rare_event_sum, digits)}",
        f"upper bound by the sets       {_measure(bound, digits)}",
    ]
    return Group(*(Text(line) for line in lines))


def _measure(measure: Measure, digits: int) -> str:
    if measure.value is None:
        return f"none: {measure.reason}"
    return "infinite" if math.isinf(measure.value) else figure(measure.value, digits)


def _importance(solution: Solution) -> RenderableType:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    table.add_column("event")
    for heading in ("figure", "Birnbaum", "criticality", "Fussell–Vesely", "RAW", "RRW"):
        table.add_column(heading, justify="right")
    for found in sorted(solution.importance(), key=by_importance):
        measures = (found.criticality, found.fussell_vesely, found.raw, found.rrw)
        cells = [_measure(measure, 2) for measure in measures]
        table.add_row(found.event.name, found.event.figure, two_figures(found.birnbaum), *cells)
    return table


def by_importance(found: Importance) -> tuple[float, str]:
    """What events are sorted by: the greatest part of the probability first, then the name."""
    return (-(found.fussell_vesely.value or 0.0), found.event.name)
