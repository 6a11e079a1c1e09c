"""A study of faults as JSON and CSV: the same bytes for the same input."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from dataclasses import asdict
from typing import Any

from interlock import __version__
from interlock.commands.faults.fmea import plain_cell, rows_of
from interlock.commands.faults.likelihood import likelihood_of
from interlock.commands.faults.study import FaultStudy, order_words
from interlock.commands.faults.tolerance import Change
from interlock.independent_judge.story import tell
from interlock.judgement.fault_sets import RequirementSets
from interlock.reliability.diagram import TooLargeError
from interlock.reliability.figures import two_figures
from interlock.telling.program import between_data


def to_json(study: FaultStudy) -> str:
    """The study as JSON; wall times are left out, they differ from run to run."""
    model = study.model
    data = {
        "interlock": __version__,
        "model": model.title,
        "inputs": {
            name.replace("\\", "/").rsplit("/", 1)[-1]: hashlib.sha256(text.encode()).hexdigest()
            for name, text in model.sources.items()
        },
        **between_data(model),
        "looked_at": order_words(study.options.order),
        "outcome": study.outcome.value,
        "explorations": [
            {"says": e.says, "n_flags": e.n_faults, "n_states": e.n_states, "limit": e.limit}
            for e in study.explorations
        ],
        "requirements": [_requirement(study, id_) for id_ in study.requirements],
        "sensors": [_change(change) for change in study.changes],
        "fmea": [asdict(row) for row in rows_of(study)],
        "judged_in_whole_scans": list(study.judged_in_scans),
        "without_effect": [fault.id for fault in study.ineffective],
        "assumptions": list(model.assumptions),
        "cautions": list(model.cautions),
    }
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _requirement(study: FaultStudy, id_: str) -> dict[str, Any]:
    requirement, found = study.requirements[id_], study.sets[id_]
    data: dict[str, Any] = {
        "id": id_,
        "says": requirement.says,
        "hazards": list(requirement.hazards),
        "claims_to_survive": requirement.survives,
        "claim": study.claimed(id_).value,
        "survives": str(found.without(study.common_causes).tolerance),
        "survives_with_common_causes": str(found.tolerance),
        "n_sets_by_order": list(found.n_by_order),
        "limit": found.limit,
        "sets": _sets(study, found),
        "figures": _figures(study, id_),
        "runs": [
            {
                "faults": list(run.faults),
                "human_errors": list(run.human_errors),
                "loop_start": run.run.loop_start,
                "moves": [happening.move for happening in run.run.happenings],
                "steps": [
                    {"who": line.who, "says": line.says, "changes": list(line.changes)}
                    for line in tell(study.model, run.run, quiet_scans=True)
                ],
            }
            for run in study.runs
            if run.requirement == id_
        ],
    }
    if id_ in study.human_sets:
        data["sets_with_human_errors"] = _sets(study, study.human_sets[id_])
    return data


def _sets(study: FaultStudy, found: RequirementSets) -> list[dict[str, Any]]:
    listed = []
    for one in found.sets:
        entry: dict[str, Any] = {"faults": list(study.latent_first(one))}
        if len(one) == 1:
            entry["harm"] = study.harm(one[0], found.requirement.id).value
        listed.append(entry)
    return listed


def _figures(study: FaultStudy, id_: str) -> dict[str, Any] | None:
    try:
        found = likelihood_of(study, id_)
    except TooLargeError as reason:
        return {"not_worked_out": str(reason)}
    if found is None:
        return None
    return {
        "probability": two_figures(found.solution.probability),
        "rare_event_sum": two_figures(found.solution.rare_event_sum),
        "assumptions": list(found.assumptions),
        "without_figure": list(found.without_figure),
    }


def _change(change: Change) -> dict[str, Any]:
    return {
        "change": change.says,
        "losses": [
            {
                "requirement": loss.requirement,
                "survives": str(loss.before),
                "then": str(loss.after),
                "because_of": [list(one) for one in loss.by],
            }
            for loss in change.losses
        ],
    }


def sets_to_csv(study: FaultStudy) -> str:
    """Every listed set as CSV (RFC 4180, with line feeds)."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["requirement", "order", "faults", "words", "common cause", "harm"])
    for id_, found in study.sets.items():
        for one in found.sets:
            told = study.latent_first(one)
            words = "; ".join(study.model.faults[fault].says for fault in told)
            common = "yes" if study.common_causes.intersection(one) else "no"
            harm = study.harm(one[0], id_).value if len(one) == 1 else ""
            row = [id_, str(len(one)), " ".join(told), words, common, harm]
            writer.writerow([plain_cell(cell) for cell in row])
    return stream.getvalue()
