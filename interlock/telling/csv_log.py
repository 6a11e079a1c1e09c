"""Runs as CSV: a row for each state, so that any tool can read them.

The first row names the columns, in this order:

``step``
    Steps since power-up; the row of power-up is 0.
``scan``
    Scans of the program completed so far. Times the model's ``scan_ms`` it is the time that has
    passed at least.
``mover``
    Who made the step: plant, operator, driver, timer, fault, human error or controller; empty at
    power-up.
``move``
    The move's name, as run files have it; ``scan`` for a scan.
a column for each machine, control and output
    By its declared name; values are labels: the name of a state, ``TRUE`` and ``FALSE``, or a
    number. The state after the step.
``in:NAME``
    What the sensor of the program's input NAME gives in that state, faults included; the next scan
    latches it.
``read:NAME``
    For each input that may be late: what the next scan latches in its place, had it come then.
``fault:ID``
    ``TRUE`` from the strike of fault ID on until it clears, for each fault that the model lists.

The format is that of RFC 4180 with line feeds alone: commas, quotes where needed, UTF-8. The
columns ``step`` and ``move`` suffice to replay a run; everything else is there to be compared.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence

from interlock.independent_judge.moments import Moment
from interlock.independent_judge.story import WHO
from interlock.kernel.system import MoveKind
from interlock.model.model import Model
from interlock.st.types import label_of

# Columns that tell of a run and not of a state, and what marks inputs and faults.
PASSED_OVER = ("step", "scan", "mover", "move")
INPUT, READ, FAULT = "in:", "read:", "fault:"


def to_csv(model: Model, moments: Sequence[Moment]) -> str:
    """The run as CSV text."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns(model))
    writer.writerows(_rows(model, moments))
    return text.getvalue()


def columns(model: Model) -> list[str]:
    """The names of the columns, in order."""
    inputs = [f"{INPUT}{name}" for name in model.input_types]
    inputs += [f"{READ}{sensor.name}" for sensor in model.late_sensors]
    faults = [f"{FAULT}{id_}" for id_ in model.faults]
    return [*PASSED_OVER, *model.machines, *model.outputs, *inputs, *faults]


def _rows(model: Model, moments: Sequence[Moment]) -> Iterator[list[str]]:
    n_scans, types = 0, model.input_types
    for moment in moments:
        happening = moment.happening
        n_scans += happening is not None and happening.kind is MoveKind.SCAN
        mover = "" if happening is None else WHO[happening.kind]
        move = "" if happening is None else happening.move
        yield [
            *(str(moment.number), str(n_scans), mover, move),
            *(moment.shown[name] for name in (*model.machines, *model.outputs)),
            *(label_of(type_, moment.signals[n]) for n, type_ in types.items()),
            *(label_of(types[s.name], moment.read[s.name]) for s in model.late_sensors),
            *("TRUE" if id_ in moment.struck else "FALSE" for id_ in model.faults),
        ]
