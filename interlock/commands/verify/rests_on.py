"""What verdicts rest on, for formats that have no place of their own for it."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.judgement.finding import Verification
from interlock.judgement.ledger import Ledger
from interlock.telling.ledger import lines_of
from interlock.telling.program import between_told, free_inputs_of, left_out_of


def rests_on(verification: Verification, ledger: Ledger | None = None) -> Iterator[tuple[str, str]]:
    """What the verdicts rest on: what sort of thing it is, and the thing in words."""
    model = verification.built.model
    yield "between scans", between_told(model)
    for run_class in verification.classes:
        yield "run class", run_class.says
    for line in verification.left_free:
        yield "durations", line
    for line in model.assumptions:
        yield "assumption", line
    for line in model.cautions:
        yield "caution", line
    for free in free_inputs_of(model):
        yield "free input", f"{free.name}: {', '.join(free.values)}"
    for left in left_out_of(model):
        yield "left out", f"{left.place.short}: {left.says}"
    for line in () if ledger is None else lines_of(ledger):
        yield "ledger", line
