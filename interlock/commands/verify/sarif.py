"""A verification in the static analysis results interchange format, SARIF 2.1.0.

Source: OASIS Standard "Static Analysis Results Interchange Format (SARIF) Version 2.1.0", 27 March
2020. A violated requirement is a result of kind ``fail`` at the place of the requirement, with its
run as a code flow; one that holds is ``pass``, one without a verdict ``open``, and one that holds
only because its premise never occurred is for ``review``. So is what is worth a look besides. What
all of them rest on stands among the properties of the run.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import PurePath
from typing import Any
from urllib.parse import quote

from interlock import __version__
from interlock.base.errors import Place
from interlock.commands.verify.rests_on import rests_on
from interlock.independent_judge.story import Line, tell
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.ledger import Ledger
from interlock.kernel.requirement import Outcome
from interlock.model.model import Model
from interlock.oversights.found import NOTHING, Kind, Looked, Oversight
from interlock.telling.ledger import ledger_data

_SCHEMA = (
    "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json"
)
LOSSES = (
    "premise counts, depths and times: they are in verify --json",
    "sketches of the plant: a code flow tells each step in words, with the program's line",
)
"""What the format does not carry; the file says so, too, among the properties of its run."""


def to_sarif(
    verification: Verification, looked: Looked = NOTHING, ledger: Ledger | None = None
) -> str:
    """The findings as SARIF, with what they rest on: the same bytes for the same input."""
    model = verification.built.model
    rules = [_rule(model, finding) for finding in verification.findings]
    kinds = list(dict.fromkeys(one.kind for one in looked.oversights))
    numbers = {kind: number for number, kind in enumerate(kinds, len(rules))}
    rules += [_rule_of_kind(kind) for kind in kinds]
    run: dict[str, Any] = {
        "tool": {
            "driver": {
                "name": "interlock",
                "version": __version__,
                "rules": rules,
            }
        },
        "columnKind": "unicodeCodePoints",
        "invocations": [{"executionSuccessful": True}],
        "properties": {
            "notCarried": list(LOSSES),
            "undecided": list(looked.undecided),
            "restsOn": [
                {"what": what, "says": says} for what, says in rests_on(verification, ledger)
            ],
            **({} if ledger is None else {"ledger": ledger_data(ledger)}),
        },
        "artifacts": [_artifact(name, text) for name, text in model.sources.items()],
        "results": [
            _result(verification, finding, number)
            for number, finding in enumerate(verification.findings)
        ]
        + [_for_review(one, numbers[one.kind]) for one in looked.oversights],
    }
    data = {"$schema": _SCHEMA, "version": "2.1.0", "runs": [run]}
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def _rule(model: Model, finding: Finding) -> dict[str, Any]:
    requirement = finding.requirement
    rule: dict[str, Any] = {
        "id": requirement.id,
        "shortDescription": {"text": requirement.says or requirement.id},
        "defaultConfiguration": {"level": "error"},
    }
    hazards = [f"{h}: {model.hazards[h].says}" for h in requirement.hazards]
    if hazards:
        rule["fullDescription"] = {"text": f"{requirement.says}. Hazards: {'; '.join(hazards)}"}
        rule["properties"] = {"tags": list(requirement.hazards)}
    return rule


def _artifact(name: str, text: str) -> dict[str, Any]:
    digest = hashlib.sha256(text.encode()).hexdigest()
    return {"location": {"uri": _uri(name)}, "hashes": {"sha-256": digest}}


def _uri(name: str) -> str:
    path = PurePath(name.replace("\\", "/"))
    if path.is_absolute():
        return "file://" + quote(path.as_posix())
    return quote(path.as_posix())


def _result(verification: Verification, finding: Finding, number: int) -> dict[str, Any]:
    model, verdict = verification.built.model, finding.verdict
    statement = model.statements.get(finding.requirement.id)
    place = statement.place if statement is not None else model.controllers[0].program.place
    kind, level, said = _told(model, finding)
    result: dict[str, Any] = {
        "ruleId": finding.requirement.id,
        "ruleIndex": number,
        "kind": kind,
        "level": level,
        "message": {"text": f"{said}: {finding.requirement.says} ({finding.run_class.says})"},
        "locations": [_location(place)],
        "properties": {"states": verdict.n_states, "engine": verdict.engine},
    }
    if finding.run is not None:
        flow = [_step(line) for line in tell(model, finding.run, quiet_scans=True)]
        result["codeFlows"] = [{"threadFlows": [{"locations": flow}]}] if flow else []
    return result


def _rule_of_kind(kind: Kind) -> dict[str, Any]:
    return {
        "id": kind.value,
        "shortDescription": {"text": f"worth a look: {kind.value}"},
        "defaultConfiguration": {"level": "none"},
    }


def _for_review(oversight: Oversight, number: int) -> dict[str, Any]:
    return {
        "ruleId": oversight.kind.value,
        "ruleIndex": number,
        "kind": "review",
        "level": "none",
        "message": {"text": oversight.says},
        "locations": [_location(oversight.place)],
    }


def _told(model: Model, finding: Finding) -> tuple[str, str, str]:
    """Kind and level of a result; a level belongs to failures only (sections 3.27.9, 3.27.10)."""
    why = finding.why(model)
    if finding.outcome is Outcome.VIOLATED:
        return "fail", "error", f"{finding.says}, {why}" if why else "violated"
    if finding.verdict.vacuous:
        return "review", "none", f"was never put to the test: {why}"
    if finding.outcome is Outcome.UNDECIDED:
        return "open", "none", f"undecided, {why}"
    return "pass", "none", "holds in this model"


def _location(place: Place) -> dict[str, Any]:
    region = {"startLine": place.line, "startColumn": place.column}
    return {"physicalLocation": {"artifactLocation": {"uri": _uri(place.file)}, "region": region}}


def _step(line: Line) -> dict[str, Any]:
    said = f"{line.who}: {line.says}" + (f" [{', '.join(line.changes)}]" if line.changes else "")
    location: dict[str, Any] = {"message": {"text": said}}
    if line.decided:
        location = {**_location(line.decided[0]), **location}
    return {"location": location, "executionOrder": line.number}
