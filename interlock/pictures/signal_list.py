"""The list of a model's inputs and outputs as a table, headed so that it can be read back."""

from __future__ import annotations

from interlock.base.spreadsheet import to_csv
from interlock.model.model import Model
from interlock.pictures.picture import Picture
from interlock.sheets.write_xlsx import Look, Sheet, Shown, to_xlsx

COLUMNS = (
    *("name", "direction", "type", "address", "terminal", "lamp colour", "description"),
    "what it reads",
)
NAME = "signals"


def signal_rows(model: Model) -> list[list[str]]:
    """A row for each input, then for each output, in the order of the program."""
    types = {v.name: str(v.type) for v in model.program.variables}
    inputs = [v.name for v in model.program.inputs if v.name in model.sensors]
    rows = []
    for name in inputs:
        sensor = model.sensors[name]
        reads = "free: any value" if sensor.is_free else sensor.reads.text
        says = "" if sensor.says == _said_of_free(name) else sensor.says
        wired = [sensor.address, sensor.terminal, ""]
        rows.append([name, "input", types.get(name, ""), *wired, says, reads])
    for output in model.outputs.values():
        wired = [output.address, output.terminal, output.lamp or ""]
        type_ = types.get(output.name, "")
        rows.append([output.name, "output", type_, *wired, output.says, ""])
    return rows


def _said_of_free(name: str) -> str:
    return f"the input {name}, which no sensor is given for"


def signal_sheet(model: Model) -> Sheet:
    """The list as a sheet."""
    heads = [Shown(text, Look.HEADING) for text in COLUMNS]
    return Sheet("Signals", [heads, *signal_rows(model)])


def draw_signals(model: Model) -> Picture:
    """The list as tables; there is nothing to draw."""
    rows = [list(COLUMNS), *signal_rows(model)]
    tables: dict[str, str | bytes] = {
        f"{NAME}.xlsx": to_xlsx([signal_sheet(model)]),
        f"{NAME}.csv": to_csv(rows),
    }
    return Picture(NAME, "list of inputs and outputs", "", tables)
