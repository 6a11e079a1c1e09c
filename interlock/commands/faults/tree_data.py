"""A fault tree given directly as JSON and CSV: the same bytes for the same input."""

from __future__ import annotations

import csv
import io
import json
import math
from typing import Any

from interlock import __version__
from interlock.commands.faults.fmea import plain_cell
from interlock.commands.faults.tell_tree import DEFINITIONS, by_importance, figure, words_of
from interlock.reliability.quantify import CutSet, Importance, Measure, Solution


def tree_to_json(solution: Solution, digits: int) -> str:
    """Minimal sets, figures and importance of a tree, with what they rest on.

    Parameters
    ----------
    solution : Solution
    digits : int
        Significant digits of each probability and measure. What has no figure, or an infinite
        one, is null, and 'notes' says why.

    Raises
    ------
    TooLargeError
        If there are too many sets to be listed.
    """
    tree = solution.tree
    found = solution.cut_sets()
    notes: dict[str, str] = {}
    data = {
        "interlock": __version__,
        "title": tree.title,
        "source": tree.source,
        "top": tree.top,
        "coherent": solution.coherent,
        "n_sets_by_order": list(found.n_by_order),
        "sets": [_set(solution, one, digits) for one in found.sets],
        "figures": {
            "probability": _rounded(solution.probability, digits),
            "sum_over_the_sets": _rounded(solution.rare_event_sum, digits),
            "upper_bound": _measure("upper_bound", solution.min_cut_upper_bound, digits, notes),
        },
        "notes": notes,
        "importance": [
            _importance(one, digits) for one in sorted(solution.importance(), key=by_importance)
        ],
        "definitions": DEFINITIONS,
        "assumptions": list(tree.assumptions),
        "warnings": [warning.says for warning in tree.warnings],
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _set(solution: Solution, one: CutSet, digits: int) -> dict[str, Any]:
    return {
        **_events(solution, one),
        "order": one.order,
        "says": words_of(solution.tree, one),
        "probability": _rounded(solution.set_probability(one), digits),
    }


def _events(solution: Solution, one: CutSet) -> dict[str, list[str]]:
    tree = solution.tree
    return {
        "events": [event.name for event in tree.in_order(one.occur)],
        "absent": [event.name for event in tree.in_order(one.absent)],
    }


def _importance(found: Importance, digits: int) -> dict[str, Any]:
    notes: dict[str, str] = {}
    event = found.event
    measures = {
        name: _measure(name, getattr(found, name), digits, notes)
        for name in ("criticality", "fussell_vesely", "raw", "rrw")
    }
    return {
        "event": event.name,
        "says": event.label,
        "probability": _rounded(event.probability, digits),
        "source": event.source,
        "if_certain": _rounded(found.if_certain, digits),
        "if_impossible": _rounded(found.if_impossible, digits),
        "birnbaum": _rounded(found.birnbaum, digits),
        **measures,
        "notes": notes,
    }


def _measure(name: str, measure: Measure, digits: int, notes: dict[str, str]) -> float | None:
    """The figure; JSON knows no infinite number, so that becomes a note, too."""
    if measure.value is None or math.isinf(measure.value):
        kind = "none" if measure.value is None else "infinite"
        notes[name] = f"{kind}: {measure.reason}"
        return None
    return _rounded(measure.value, digits)


def _rounded(x: float, digits: int) -> float:
    return float(f"{x:.{digits - 1}e}")


def tree_to_csv(solution: Solution, digits: int) -> str:
    """Every minimal set as a row of CSV (RFC 4180, with line feeds).

    Parameters
    ----------
    solution : Solution
    digits : int
        Significant digits of the probability.

    Raises
    ------
    TooLargeError
        If there are too many sets to be listed.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["order", "events", "absent", "words", "probability"])
    for one in solution.cut_sets().sets:
        events = _events(solution, one)
        row = [
            str(one.order),
            " ".join(events["events"]),
            " ".join(events["absent"]),
            words_of(solution.tree, one),
            figure(solution.set_probability(one), digits),
        ]
        writer.writerow([plain_cell(cell) for cell in row])
    return stream.getvalue()
