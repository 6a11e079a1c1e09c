"""What the rows of a sheet say, in the trade's words; also what a filled-in sheet is known by."""

from __future__ import annotations

import hashlib
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from interlock.commands.testsheet.goals import Force, Kind, force_of, is_injectable
from interlock.commands.testsheet.sheet import After, Do, Expected, Row, Sheet
from interlock.kernel.system import MoveKind
from interlock.model.model import Model

COLUMNS = (
    "sheet",
    "row",
    "prepare",
    "do",
    "must be seen",
    "may move",
    "then",
    "shows",
    "result",
    "remark",
)
RESULTS = ("pass", "fail")
_VERBS = ("open", "bridge")


def step_says(model: Model, move: str) -> str:
    """A move as an instruction."""
    found = next(m for m in model.moves if m.name == move)
    says = found.says or found.name
    return f"wait until {says}" if found.kind is MoveKind.PLANT else f"{found.kind.value}: {says}"


def prepare_says(sheet: Sheet, row: Row) -> list[str]:
    """The preparation, one instruction each."""
    steps = [step_says(sheet.model, move) for move in row.prepare]
    return ["begin at power-up, everything in its initial place", *steps] if row.anew else steps


def do_says(sheet: Sheet, row: Row) -> str:
    """What is tried."""
    if row.do is Do.LOOK:
        return "look"
    if row.force is None:
        assert row.move is not None
        return step_says(sheet.model, row.move)
    said = force_says(sheet.model, row.force)
    return f"{said} (while it moves)" if row.in_motion else said


def force_says(model: Model, force: Force) -> str:
    """What is done at the terminals."""
    known = [i for i, f in model.faults.items() if is_injectable(f) and force_of(f) == force]
    parts = []
    for value, given in groupby(force.signals, key=itemgetter(1)):
        names = ", ".join(_named(model, name) for name, _ in given)
        parts.append(f"{_VERBS[value]} the input {names}")
    parts += [f"{_VERBS[value]} the output {name}" for name, value in force.outputs]
    if force.restart:
        parts.append("switch the controller's supply off and on")
    said = "; ".join(parts)
    return f"{said} [{', '.join(known)}]" if known else said


def _named(model: Model, signal: str) -> str:
    says = model.sensors[signal].says
    return f"{signal} ({says})" if says else signal


def seen_says(expected: Expected) -> str:
    """What must be seen: outputs that change, and the lamps that are on then."""
    changes = [f"{name} {_value(value)}" for name, value in expected.changes.items()]
    said = ", ".join(changes) if changes else "no output changes"
    lit = ", ".join(expected.lit) if expected.lit else "none"
    flashing = f"; flashing: {', '.join(expected.flashing)}" if expected.flashing else ""
    return f"{said}; on: {lit}{flashing}"


def _value(label: str) -> str:
    return {"TRUE": "on", "FALSE": "off"}.get(label, label)


def still_says(sheet: Sheet, expected: Expected) -> str:
    """What may be moving; everything else must stand still."""
    if not expected.moves:
        return "nothing"
    return ", ".join(sheet.model.machines[name].says or name for name in expected.moves)


def then_says(row: Row, expected: Expected) -> str:
    """What follows an action at the terminals."""
    if row.after is After.NOTHING:
        return ""
    said = "restore"
    if row.after is After.COLD_START:
        said += "; start the controller with retained values cleared"
    elif row.after is After.RESTART:
        said += "; switch the controller off and on"
    if not expected.remains:
        return said + "; outputs as before"
    changes = ", ".join(f"{name} {_value(value)}" for name, value in expected.remains.items())
    return f"{said}; as before but {changes}"


def shows_says(sheet: Sheet, row: Row, expected: Expected) -> str:
    """What the row is the first to show."""
    goals = {goal.id: goal for goal in sheet.goals}
    new = [goals[id_] for id_ in row.covers]
    said = [f"{g.subject} {g.other}" for g in new if g.kind is Kind.LAMP]
    terms: dict[str, list[str]] = {}
    for goal in new:
        if goal.kind is Kind.TERM:
            terms.setdefault(goal.other, []).append(goal.subject)
    for signal, outputs in terms.items():
        everything = set(outputs) == set(expected.changes)
        said.append(f"{signal} decides {'all of these' if everything else ', '.join(outputs)}")
    said += [goal.subject for goal in new if goal.kind is Kind.FAULT]
    return "; ".join(said)


def table(sheet: Sheet) -> list[tuple[str, ...]]:
    """Every row as texts, in the order of `COLUMNS`; result and remark are empty."""
    mark = mark_of(sheet)
    return [(mark, *cells, "", "") for cells in _bare(sheet)]


def _bare(sheet: Sheet) -> list[tuple[str, ...]]:
    bare: list[tuple[str, ...]] = []
    for row, expected in zip(sheet.rows, sheet.expected, strict=True):
        bare.append(
            (
                str(row.number),
                "; ".join(prepare_says(sheet, row)),
                do_says(sheet, row),
                seen_says(expected),
                still_says(sheet, expected),
                then_says(row, expected),
                shows_says(sheet, row, expected),
            )
        )
    return bare


def mark_of(sheet: Sheet) -> str:
    """What tells this sheet from any other: hashes of its program, of its model, of what it says.

    Each part begins with a letter that says what it is of, so that no spreadsheet takes the mark
    for a number.
    """
    model = sheet.model
    program = model.program_texts
    texts = {name: text for name, text in model.sources.items() if name not in program}
    parts = {
        "p": "\n".join(program.values()),
        "m": "\n".join(f"{Path(name).name}\n{text}" for name, text in texts.items()),
        "r": "\n".join("\t".join(cells) for cells in _bare(sheet)),
    }
    return "-".join(
        letter + hashlib.sha256(text.encode()).hexdigest()[:10] for letter, text in parts.items()
    )


def other_mark_says(found: str, wanted: str) -> str:
    """Why results with another mark do not count: what of it differs."""
    named = {"p": "another program", "m": "another model", "r": "other rows"}
    parts, expected = found.split("-"), wanted.split("-")
    if [part[:1] for part in parts] != [part[:1] for part in expected]:
        return "this is another sheet"
    differing = [named[p[0]] for p, e in zip(parts, expected, strict=True) if p != e]
    return f"these results are of {' and of '.join(differing)}"


SORTS = {
    Kind.MOVE: "moves made",
    Kind.LAMP: "lamps seen on and off",
    Kind.TERM: "signals that decide an output alone",
    Kind.FAULT: "faults injected and seen",
}
