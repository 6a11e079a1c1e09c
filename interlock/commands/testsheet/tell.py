"""How a commissioning sheet is told: a page to print, comma-separated values, a terminal."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

from interlock.base import spreadsheet
from interlock.commands.testsheet import rows_in_words
from interlock.commands.testsheet.results import Results
from interlock.commands.testsheet.sheet import Row, Sheet
from interlock.telling.counts import counted
from interlock.telling.program import between_told
from interlock.telling.templates import rendered


def to_csv(sheet: Sheet) -> str:
    """The rows as comma-separated values, to be filled in under 'result' and 'remark'."""
    return spreadsheet.to_csv([rows_in_words.COLUMNS, *rows_in_words.table(sheet)])


def to_html(sheet: Sheet, results: Results | None = None) -> str:
    """The sheet as a page, complete in itself: the same bytes for the same input."""
    model = sheet.model
    initial = [f"{n} {m.states[m.initial]}" for n, m in model.machines.items() if not m.is_control]
    return rendered(
        "commands/testsheet/testsheet.html",
        model=model,
        mark=rows_in_words.mark_of(sheet),
        inputs=", ".join(_inputs(sheet)),
        sorts=_sorts(sheet),
        between=between_told(model),
        length=length_says(sheet),
        cautions=model.cautions,
        initial=", ".join(initial),
        rows=_rows(sheet, results),
        lists=[(title, lines) for title, lines in _lists(sheet) if lines],
    )


def _inputs(sheet: Sheet) -> list[str]:
    return [
        f"{Path(name).name} ({hashlib.sha256(text.encode()).hexdigest()[:12]})"
        for name, text in sheet.model.sources.items()
    ]


def _sorts(sheet: Sheet) -> list[dict[str, object]]:
    found = []
    for kind, says in rows_in_words.SORTS.items():
        ids = {goal.id for goal in sheet.goals if goal.kind is kind}
        found.append(
            {
                "says": says,
                "n": len(ids),
                "n_shown": len(ids & sheet.covered),
                "n_impossible": len(ids & sheet.impossible),
                "n_open": len(ids & sheet.open.keys()),
            }
        )
    return found


def _rows(sheet: Sheet, results: Results | None) -> list[dict[str, object]]:
    told = {}
    if results is not None:
        for word, rows in (("pass", results.passed), ("FAIL", results.failed)):
            told.update({row.number: word for row in rows})
    remarks = dict(results.remarks) if results is not None else {}
    return [
        {
            "number": row.number,
            "anew": row.anew,
            "terminal": row.force is not None,
            "prepare": [rows_in_words.step_says(sheet.model, move) for move in row.prepare],
            "do": rows_in_words.do_says(sheet, row),
            "seen": rows_in_words.seen_says(expected),
            "shows": rows_in_words.shows_says(sheet, row, expected),
            "moves": rows_in_words.still_says(sheet, expected),
            "then": rows_in_words.then_says(row, expected),
            "result": told.get(row.number, ""),
            "remark": remarks.get(row.number, ""),
        }
        for row, expected in zip(sheet.rows, sheet.expected, strict=True)
    ]


def length_says(sheet: Sheet) -> str:
    """How long the sheet is, beside what no sheet can undercut."""
    least = f" (none has fewer than {sheet.n_least_rows})" if sheet.n_least_rows else ""
    return (
        f"{counted(len(sheet.rows), 'row')}, {sheet.n_forced} of them at the terminals{least}; "
        f"{sheet.n_moves:,} moves of people and plant, at least {sheet.n_least_moves} of which "
        f"differ ({sheet.n_moves_one_by_one:,} if each goal were gone to on its own from "
        f"power-up); {_times(sheet.n_sequences, 'start')} at power-up."
    )


def _times(n: int, what: str) -> str:
    return f"{n} {what}" + ("" if n == 1 else "s")


def _lists(sheet: Sheet) -> Iterable[tuple[str, list[str]]]:
    goals = {goal.id: goal for goal in sheet.goals}
    yield (
        "Shown impossible: nothing that plant and people bring about in this model shows it, "
        "without faults and with one action at the terminals",
        [goals[id_].says for id_ in goals if id_ in sheet.impossible],
    )
    yield "Open", [f"{goals[id_].says}: {reason}" for id_, reason in sheet.open.items()]
    yield "Not asked: inputs and outputs with more than two values", list(sheet.left_out)
    faults = sheet.model.faults
    yield (
        "Not to be injected in a yard",
        [f"{id_}: {faults[id_].says}" for id_ in sheet.not_injectable],
    )


def to_text(sheet: Sheet) -> str:
    """What the sheet shows and how long it is, for a terminal."""
    title = f"{sheet.model.title}: commissioning sheet {rows_in_words.mark_of(sheet)}"
    lines = [title, between_told(sheet.model), ""]
    for sort in _sorts(sheet):
        said = f"  {sort['says']}: {sort['n_shown']} of {sort['n']}"
        said += f", {sort['n_impossible']} impossible" if sort["n_impossible"] else ""
        said += f", {sort['n_open']} OPEN" if sort["n_open"] else ""
        lines.append(said)
    lines += [
        f"  faults that cannot be injected in a yard: {len(sheet.not_injectable)}",
        "",
        length_says(sheet),
        "Coverage was measured by playing the sheet on the independent machine; 'impossible' comes "
        f"from {sheet.n_states:,} explored states and from all situations at rest.",
    ]
    if sheet.left_out:
        lines.append(f"  not asked, more than two values: {', '.join(sheet.left_out)}")
    lines += [f"  open: {id_}: {reason}" for id_, reason in list(sheet.open.items())[:20]]
    if len(sheet.open) > 20:
        lines.append(f"  and {len(sheet.open) - 20} more")
    return "\n".join(lines) + "\n"


def results_to_text(results: Results) -> str:
    """What was shown in the yard and what is left open."""
    sheet = results.sheet
    n_goals = len(sheet.covered)
    lines = [
        f"{sheet.model.title}: commissioning sheet {rows_in_words.mark_of(sheet)}, filled in",
        "",
        f"  rows: {len(results.passed)} passed, {len(results.failed)} failed, "
        f"{len(results.undone)} not done",
        f"  goals shown: {len(results.shown & sheet.covered)} of {n_goals}",
    ]
    for kind, says in rows_in_words.SORTS.items():
        ids = {goal.id for goal in sheet.goals if goal.kind is kind} & sheet.covered
        lines.append(f"    {says}: {len(ids & results.shown)} of {len(ids)}")
    remarks = dict(results.remarks)
    for title, rows in (("failed", results.failed), ("not done", results.undone)):
        lines += [f"  {title}: {_row(sheet, row, remarks)}" for row in rows]
    goals = {goal.id: goal for goal in sheet.goals}
    lines += [f"  not shown: {goals[id_].says}" for id_ in results.missing]
    lines += [f"  open on every sheet: {goals[id_].says}: {why}" for id_, why in sheet.open.items()]
    return "\n".join(lines) + "\n"


def _row(sheet: Sheet, row: Row, remarks: dict[int, str]) -> str:
    said = f"row {row.number}, {rows_in_words.do_says(sheet, row)}"
    return f"{said} ({remarks[row.number]})" if row.number in remarks else said
