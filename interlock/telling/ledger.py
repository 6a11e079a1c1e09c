"""Which verdicts lean on what is assumed between two scans, in words and as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from interlock.judgement.ledger import Leaning, Ledger
from interlock.telling.counts import counted

HEADING = "What leans on the assumption between two scans"


def lines_of(ledger: Ledger) -> Iterator[str]:
    """Sentences: first what falls, then what is not decided, then what holds anyway."""
    if not ledger.asked:
        yield f"'{ledger.rests_on}': nothing weaker can be assumed, or nothing holds."
        return
    yield from (f"{leaning_told(ledger, one)}." for one in ledger.leanings if one.leans)
    yield from (f"{leaning_told(ledger, one)}." for one in ledger.leanings if one.is_open)
    firm = [one.requirement for one in ledger.leanings if one.falls_with is None]
    if firm:
        verb = "holds" if len(firm) == 1 else "hold"
        yield f"{', '.join(firm)}: {verb} with '{ledger.asked[-1]}' as well."


def runs_of(ledger: Ledger) -> Iterator[tuple[str, list[str]]]:
    """For each requirement that falls by a run: whose run it is, and its moves."""
    for one in ledger.leanings:
        if one.leans and one.found is not None and one.found.run is not None:
            moves = [happening.move for happening in one.found.run.happenings]
            yield f"{one.requirement} with '{one.falls_with}'", moves


def leaning_told(ledger: Ledger, leaning: Leaning) -> str:
    """One requirement's sentence, without its end."""
    strongest = (ledger.rests_on, *leaning.holds_with)[-1]
    holds = f"{leaning.requirement} holds with '{strongest}' between two scans"
    if leaning.falls_with is None:
        return holds
    return f"{holds}; with '{leaning.falls_with}' {falling(leaning)}"


def falling(leaning: Leaning) -> str:
    """How a requirement falls, or that it is not known whether it does."""
    assert leaning.found is not None
    assert leaning.judged is not None
    if leaning.is_open:
        return f"it is undecided: {leaning.found.why(leaning.judged.built.model)}"
    if leaning.n_steps is None:
        return f"it falls: {leaning.found.why(leaning.judged.built.model)}"
    run_class = leaning.found.run_class
    under = f" under {run_class.says}" if run_class.faults else ""
    return f"it falls in {counted(leaning.n_steps, 'step')}{under}"


def change_told(ledgers: tuple[Ledger, Ledger], leaning: Sequence[Leaning]) -> Iterator[str]:
    """What a change makes lean, of the ledgers of the old and the new model; never nothing."""
    for one in leaning:
        yield (
            f"{one.requirement} leans on an assumption that it did not need before: OLD holds with "
            f"'{one.falls_with}' between two scans; NEW does not: {falling(one)}."
        )
    open_ = {one.requirement for ledger in ledgers for one in ledger.leanings if one.is_open}
    if open_:
        yield f"Not decided, in OLD or in NEW: {', '.join(sorted(open_))}."
    if not leaning and not open_:
        yield "No requirement leans on an assumption between two scans that it did not need before."


def ledger_data(ledger: Ledger) -> dict[str, Any]:
    """The ledger for JSON; runs by the names of their moves."""
    return {
        "rests_on": str(ledger.rests_on),
        "asked": [str(between) for between in ledger.asked],
        "requirements": [_data(one) for one in ledger.leanings],
    }


def _data(leaning: Leaning) -> dict[str, Any]:
    data: dict[str, Any] = {
        "id": leaning.requirement,
        "holds_with": [str(between) for between in leaning.holds_with],
    }
    if leaning.found is not None and leaning.judged is not None:
        run = leaning.found.run
        data["with"] = str(leaning.falls_with)
        data["outcome"] = leaning.found.outcome.value
        data["why"] = leaning.found.why(leaning.judged.built.model) or None
        data["run_class"] = leaning.found.run_class.says
        data["n_steps"] = leaning.n_steps
        data["moves"] = None if run is None else [happening.move for happening in run.happenings]
    return data
