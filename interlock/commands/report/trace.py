"""The thread of a report: from hazards over requirements and verdicts to faults and evidence."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from interlock.commands.faults import fmea
from interlock.commands.rehearse.results import Class, DeviationResult
from interlock.commands.rehearse.tell import says as deviation_says
from interlock.commands.report.dossier import Dossier
from interlock.commands.report.faults import requirement_faults
from interlock.commands.report.findings_in_words import (
    clauses,
    place_words,
    plr_words,
    state_of,
    verdict,
)
from interlock.commands.report.runs import ShownRun
from interlock.judgement.finding import Finding
from interlock.model.build import GENERATED
from interlock.model.model import Hazard

# So many cut sets stand with a hazard; all that are listed at all stand with the requirement.
SETS_OF_A_HAZARD = 8


def requirement_rows(dossier: Dossier, runs: Sequence[ShownRun]) -> dict[str, dict[str, Any]]:
    """Everything about each requirement, by its id."""
    return {id_: _requirement(dossier, f, runs) for id_, f in dossier.findings.items()}


def _requirement(dossier: Dossier, finding: Finding, runs: Sequence[ShownRun]) -> dict[str, Any]:
    requirement = finding.requirement
    statement = dossier.model.statements.get(requirement.id)
    own = [shown for shown in runs if shown.requirement == requirement.id]
    return {
        "id": requirement.id,
        "says": requirement.says,
        "hazards": requirement.hazards,
        "clauses": [] if statement is None else list(clauses(statement)),
        "place": "" if statement is None else place_words(statement.place),
        "added": requirement.id in GENERATED,
        "survives": requirement.survives,
        "verdict": verdict(dossier, finding),
        "faults": requirement_faults(dossier, requirement.id),
        "timed": dossier.reaction_times.get(requirement.id),
        "margin": dossier.margins.get(requirement.id),
        "runs": own,
        "known": _expected(dossier, requirement.id),
    }


def _expected(dossier: Dossier, id_: str) -> str:
    """What the model's author says of a verdict beforehand; no verdict depends on it."""
    model = dossier.model
    for word, ids in (("violated", model.expected_violated), ("vacuous", model.expected_vacuous)):
        if id_ in ids:
            return word
    return ""


def hazard_views(
    dossier: Dossier, rows: dict[str, dict[str, Any]], runs: Sequence[ShownRun]
) -> list[dict[str, Any]]:
    """Everything about each hazard, in the order of the model."""
    return [_hazard(dossier, h, rows, runs) for h in dossier.model.hazards.values()]


def _hazard(
    dossier: Dossier, hazard: Hazard, rows: dict[str, dict[str, Any]], runs: Sequence[ShownRun]
) -> dict[str, Any]:
    ids = [finding.requirement.id for finding in dossier.of_hazard(hazard.id)]
    level, parameters = plr_words(hazard)
    own = [rows[id_] for id_ in ids]
    return {
        "id": hazard.id,
        "says": hazard.says,
        "level": level,
        "risk": parameters,
        "rows": own,
        "states": [row["verdict"]["state"] for row in own],
        "runs": [shown for shown in runs if shown.requirement in ids],
        "modes": list(_failure_modes(dossier, ids)),
        "deviations": list(_deviations(dossier, ids)),
        "sets_shown": SETS_OF_A_HAZARD,
        "open_sets": [r["id"] for r in own if r["faults"] and r["faults"]["limit"] is not None],
    }


def _failure_modes(
    dossier: Dossier, ids: Sequence[str]
) -> Iterator[tuple[fmea.Row, list[str], list[str]]]:
    """The failure modes that take part in breaking one of some requirements, and which."""
    for row in dossier.failure_modes:
        alone = [id_ for id_ in row.breaks.split() if id_ in ids]
        others = [id_ for id_ in row.weakens.split() if id_ in ids]
        if alone or others:
            yield row, alone, others


def _deviations(dossier: Dossier, ids: Sequence[str]) -> Iterator[dict[str, Any]]:
    """What in the procedures violates one of some requirements."""
    for rehearsed in () if dossier.rehearsal is None else dossier.rehearsal.rehearsed:
        if rehearsed.requirement in ids:
            yield {
                "procedure": rehearsed.procedure.id,
                "steps": (),
                "says": "everything done as written",
                "requirement": rehearsed.requirement,
            }
        for result in rehearsed.singles:
            if result.outcome is Class.VIOLATING and result.requirement in ids:
                yield _deviation(rehearsed.procedure.id, result)


def _deviation(procedure: str, result: DeviationResult) -> dict[str, Any]:
    return {
        "procedure": procedure,
        "steps": tuple(dict.fromkeys(s for d in result.deviations for s in d.steps)),
        "says": deviation_says(result),
        "requirement": result.requirement,
    }


@dataclass(frozen=True)
class Orphans:
    """What of one kind hangs loose in the thread.

    Attributes
    ----------
    title : str
        The kind in words.
    found : sequence of (str, str)
        Ids and what they say.
    open : str
        Why it is not known which there are; else empty.
    """

    title: str
    found: Sequence[tuple[str, str]]
    open: str = ""


def orphans(dossier: Dossier) -> list[Orphans]:
    """What hangs loose in the thread, each kind by itself."""
    model = dossier.model
    asked = {h for statement in model.statements.values() for h in statement.hazards}
    without_hazard = [s for s in model.statements.values() if not s.hazards]
    thin = [
        hazard for id_, hazard in model.hazards.items() if id_ in asked and _is_thin(dossier, id_)
    ]
    return [
        Orphans(
            "Hazards that no requirement names",
            [(h.id, h.says) for h in model.hazards.values() if h.id not in asked],
        ),
        Orphans(
            "Hazards of whose requirements none holds with a premise that occurs",
            [(h.id, h.says) for h in thin],
        ),
        Orphans("Requirements that name no hazard", [(s.id, s.says) for s in without_hazard]),
        _ineffective(dossier),
    ]


def _is_thin(dossier: Dossier, hazard: str) -> bool:
    return all(state_of(finding) != "holds" for finding in dossier.of_hazard(hazard))


def _ineffective(dossier: Dossier) -> Orphans:
    title = "Faults that break nothing alone, and of which no next scan or move shows anything"
    study = dossier.faults
    if study is None:
        n_live = len(dossier.model.live_faults)
        return Orphans(title, (), "not looked at: no study of faults is told" if n_live else "")
    if study.model.live_faults and not study.effects:
        return Orphans(title, (), "undecided: a limit was hit")
    return Orphans(title, [(fault.id, fault.says) for fault in study.ineffective])
