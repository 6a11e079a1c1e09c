"""A verification as JSON and as JUnit XML: the same bytes for the same input."""

from __future__ import annotations

import json
from typing import Any
from xml.etree import ElementTree

from interlock import __version__
from interlock.base.files import sha256
from interlock.commands.verify.rests_on import rests_on
from interlock.independent_judge.controllers import is_executed_as_written
from interlock.independent_judge.story import tell
from interlock.judgement.effect_cells import judged_matrix
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.ledger import Ledger
from interlock.judgement.margin import margin_data
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import System
from interlock.model.model import Model
from interlock.model.reaction import ReactionTime, Share
from interlock.oversights.found import NOTHING, Looked
from interlock.telling.ledger import ledger_data
from interlock.telling.program import between_data, free_inputs_of, left_out_of, remembered_by


def to_json(
    verification: Verification, looked: Looked = NOTHING, ledger: Ledger | None = None
) -> str:
    """The result as JSON; wall times are left out, they differ from run to run."""
    model = verification.built.model
    explored = verification.exploration
    data = {
        "interlock": __version__,
        "model": model.title,
        "inputs": {
            name.replace("\\", "/").rsplit("/", 1)[-1]: sha256(text)
            for name, text in model.sources.items()
        },
        "run_classes": [run_class.says for run_class in verification.classes],
        **between_data(model),
        "engine": explored.engine,
        "engine_because": explored.because or None,
        "n_states": explored.n_states,
        "depth": explored.depth,
        "limit": explored.limit,
        **({} if explored.n_threads is None else {"threads_started": explored.n_threads}),
        "outcome": verification.outcome.value,
        **about_the_program(model, verification.built.system),
        "assumptions": list(model.assumptions),
        "cautions": list(model.cautions),
        "requirements": [_finding(model, finding) for finding in verification.findings],
        **_matrix(verification),
        **_margins(verification),
        "reaction_times": [_reaction(found) for found in verification.reaction_times],
        "worth_a_look": {
            "found": [
                {
                    "kind": one.kind.value,
                    "file": one.place.file.replace("\\", "/"),
                    "line": one.place.line,
                    "column": one.place.column,
                    "says": one.says,
                }
                for one in looked.oversights
            ],
            "undecided": list(looked.undecided),
        },
        **({} if ledger is None else {"ledger": ledger_data(ledger)}),
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _matrix(verification: Verification) -> dict[str, Any]:
    """Each sign of the model's own matrix with the requirement that it is; nothing without one."""
    judged = judged_matrix(verification)
    if judged is None:
        return {}
    matrix = judged.matrix
    cells = [
        {
            "cause": matrix.causes[r].text,
            "effect": matrix.effects[c].text,
            "sign": sign.letter,
            "means": sign.meaning.value,
            "requirement": sign.requirement,
            "outcome": judged.says(r, c),
        }
        for (r, c), sign in matrix.cells.items()
    ]
    return {"matrix": {"counts": judged.counts, "cells": cells}}


def about_the_program(model: Model, system: System) -> dict[str, Any]:
    """What was free, what is remembered, what was left out."""
    return {
        "free_inputs": {one.name: list(one.values) for one in free_inputs_of(model)},
        "replayed_on": "text" if is_executed_as_written(model) else "checked program",
        "remembered": dict(remembered_by(model, system)),
        "left_out": [
            {
                "file": one.place.file.replace("\\", "/").rsplit("/", 1)[-1],
                "line": one.place.line,
                "column": one.place.column,
                "says": one.says,
            }
            for one in left_out_of(model)
        ],
    }


def _margins(verification: Verification) -> dict[str, Any]:
    """How much of the time that is allowed is ever taken, where any is."""
    found = [
        {"id": finding.requirement.id, **margin_data(finding.margin)}
        for finding in verification.findings
        if finding.margin is not None
    ]
    return {"time_taken": found} if found else {}


def _reaction(found: ReactionTime) -> dict[str, Any]:
    return {
        "id": found.requirement,
        "within": found.bound.says,
        "within_ms": found.bound.ms,
        "within_scans": found.bound.scans,
        "scan_ms": found.scan_ms,
        "filter": _share(found.filter),
        "wait_ms": found.wait_ms,
        "scans": found.scans,
        "program_ms": found.program_ms,
        "effect": _share(found.effect),
        "total_ms": found.total_ms,
        "exceeds": found.exceeds,
    }


def _share(share: Share) -> dict[str, Any]:
    return {
        "ms": share.ms,
        "of": share.name,
        "source": share.source,
        "assumed": share.assumed,
        "without_delay": list(share.unknown),
    }


def _finding(model: Model, finding: Finding) -> dict[str, Any]:
    verdict = finding.verdict
    data: dict[str, Any] = {
        "id": finding.requirement.id,
        "says": finding.requirement.says,
        "outcome": finding.outcome.value,
        "why": finding.why(model) or None,
        "too_late": finding.is_too_late,
        "vacuous": verdict.vacuous,
        "run_class": finding.run_class.says,
        "engine": verdict.engine,
        "engine_because": verdict.because or None,
        "harm_by_faults": None if finding.harm is None else finding.harm.value,
        "hazards": list(finding.requirement.hazards),
        "survives": finding.requirement.survives,
        "n_premise": verdict.n_premise,
        "n_states": verdict.n_states,
        "depth": verdict.depth,
        "limit": verdict.limit,
        "within_scans": finding.requirement.within,
        "most_scans": verdict.scans,
        **({} if finding.counted is None else {"times_counted": list(finding.counted)}),
    }
    if finding.run is not None:
        data["run"] = {
            "loop_start": finding.run.loop_start,
            "note": finding.run.note,
            "moves": [happening.move for happening in finding.run.happenings],
            "steps": [
                {
                    "step": line.number,
                    "who": line.who,
                    "says": line.says,
                    "changes": list(line.changes),
                    "decided": [place.short for place in line.decided],
                }
                for line in tell(model, finding.run, quiet_scans=True)
            ],
        }
    return data


def to_junit(verification: Verification, ledger: Ledger | None = None) -> str:
    """The result as JUnit XML: what it rests on, and one test case for each requirement."""
    model = verification.built.model
    outcomes = [f.outcome for f in verification.findings if not f.is_left_out]
    suite = ElementTree.Element(
        "testsuite",
        name=model.title,
        tests=str(len(verification.findings)),
        failures=str(outcomes.count(Outcome.VIOLATED)),
        errors=str(outcomes.count(Outcome.UNDECIDED)),
        skipped=str(len(verification.findings) - len(outcomes)),
    )
    properties = ElementTree.SubElement(suite, "properties")
    for what, says in rests_on(verification, ledger):
        ElementTree.SubElement(properties, "property", name=what, value=says)
    for finding in verification.findings:
        case = ElementTree.SubElement(
            suite,
            "testcase",
            classname=model.name,
            name=f"{finding.requirement.id} {finding.requirement.says}",
        )
        if finding.outcome is Outcome.VIOLATED:
            failure = ElementTree.SubElement(case, "failure", message=finding.says)
            failure.text = _why_violated(model, finding)
        elif finding.is_left_out:
            ElementTree.SubElement(case, "skipped", message=f"{finding.says}: {finding.why(model)}")
        elif finding.outcome is Outcome.UNDECIDED:
            message = f"{finding.says}: {finding.why(model)}"
            ElementTree.SubElement(case, "error", message=message)
    ElementTree.indent(suite)
    return (
        '<?xml version="1.0" encoding="utf-8"?>\n'
        + ElementTree.tostring(suite, encoding="unicode")
        + "\n"
    )


def _why_violated(model: Model, finding: Finding) -> str:
    if finding.run is None:
        return finding.why(model)
    return "\n".join(
        f"{line.number} {line.who}: {line.says} [{', '.join(line.changes)}]"
        for line in tell(model, finding.run)
    )
