"""Which verdicts lean on what is assumed between two scans, in words and as data."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from interlock.judgement.ledger import Assumption, Leaning, Ledger, OldValues
from interlock.telling.counts import counted

HEADING = "What leans on the assumption between two scans"


def lines_of(ledger: Ledger) -> Iterator[str]:
    """Sentences: first what falls, then what is not decided, then what holds anyway."""
    if not ledger.asked:
        yield f"'{ledger.rests_on}': nothing weaker can be assumed, or nothing holds."
    else:
        yield from _line(ledger, ledger.leanings, f"'{ledger.asked[-1]}'")
    if ledger.old_values is not None:
        yield from _line(ledger, ledger.on_old_values, str(ledger.old_values))
        if ledger.old_values.others:
            names = ", ".join(ledger.old_values.others)
            yield f"Not tried with {ledger.old_values}, as these cannot be late: {names}."


def _line(ledger: Ledger, leanings: Sequence[Leaning], weakest: str) -> Iterator[str]:
    yield from (f"{leaning_told(ledger, one)}." for one in leanings if one.leans)
    yield from _open(ledger, [one for one in leanings if one.is_open])
    firm = [one.requirement for one in leanings if one.falls_with is None]
    if firm:
        verb = "holds" if len(firm) == 1 else "hold"
        yield f"{', '.join(firm)}: {verb} with {weakest} as well."


def _open(ledger: Ledger, leanings: Sequence[Leaning]) -> Iterator[str]:
    """What is not decided, once for all that one exploration left so for one reason."""
    alike: dict[str, list[Leaning]] = {}
    for one in leanings:
        own, says = f"{one.requirement} ", leaning_told(ledger, one)
        alike.setdefault(says.removeprefix(own), []).append(one)
    for says, those in alike.items():
        names = ", ".join(one.requirement for one in those)
        yield f"{names} {says}." if len(those) == 1 else f"{names}: each {says}."


def runs_of(ledger: Ledger) -> Iterator[tuple[str, list[str]]]:
    """For each requirement that falls by a run: whose run it is, and its moves."""
    for one in ledger.every:
        if one.leans and one.found is not None and one.found.run is not None:
            moves = [happening.move for happening in one.found.run.happenings]
            yield f"{one.requirement} with {_quoted(one.falls_with)}", moves


def heading_of_run(leaning: Leaning) -> str:
    """Under what a run of the ledger happens."""
    where = "" if isinstance(leaning.falls_with, OldValues) else " between two scans"
    return f"With {_quoted(leaning.falls_with)}{where}:"


def _quoted(assumption: Assumption | None) -> str:
    """An assumption as a word of the model file; in words where it is none."""
    return str(assumption) if isinstance(assumption, OldValues) else f"'{assumption}'"


def leaning_told(ledger: Ledger, leaning: Leaning) -> str:
    """One requirement's sentence, without its end."""
    if isinstance(leaning.falls_with, OldValues):
        holds = f"{leaning.requirement} holds where each scan reads what its sensors give"
        return f"{holds}; with {leaning.falls_with} {falling(leaning)}"
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
        where = "" if isinstance(one.falls_with, OldValues) else " between two scans"
        yield (
            f"{one.requirement} leans on an assumption that it did not need before: OLD holds with "
            f"{_quoted(one.falls_with)}{where}; NEW does not: {falling(one)}."
        )
    open_ = {one.requirement for ledger in ledgers for one in ledger.every if one.is_open}
    asked = [ledger.old_values is not None for ledger in ledgers]
    if any(asked) and not all(asked):
        which = "OLD" if asked[0] else "NEW"
        yield f"Values one scan old were asked of {which} only: the other has late signals or none."
    if open_:
        yield f"Not decided, in OLD or in NEW: {', '.join(sorted(open_))}."
    if not leaning and not open_:
        yield "No requirement leans on an assumption between two scans that it did not need before."


def ledger_data(ledger: Ledger) -> dict[str, Any]:
    """The ledger for JSON; runs by the names of their moves."""
    late = ledger.old_values
    told = (
        {}
        if late is None
        else {
            "values_one_scan_old": {
                "signals": list(late.signals),
                "not_tried": list(late.others),
                "requirements": [_data(one) for one in ledger.on_old_values],
            }
        }
    )
    return {
        "rests_on": str(ledger.rests_on),
        "asked": [str(between) for between in ledger.asked],
        "requirements": [_data(one) for one in ledger.leanings],
        **told,
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
