"""How findings are put into words, the same in every section of a report."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from interlock.base.errors import Place
from interlock.commands.report.dossier import Dossier
from interlock.judgement.finding import Finding
from interlock.kernel.requirement import Outcome
from interlock.model.model import Hazard, Statement
from interlock.model.patterns import PATTERNS, SCOPES
from interlock.reliability.performance_level import required_level
from interlock.telling.counts import counted

# A word and a sign for each state, so that colour is never alone.
SIGNS = {"holds": "✓", "violated": "✕", "undecided": "?", "vacuous": "○"}


def place_words(place: Place) -> str:
    """File and line without the folder, and the element in a drawing."""
    return place.short


def plr_words(hazard: Hazard) -> tuple[str, str]:
    """The required level by the risk graph of ISO 13849-1, and its parameters; empty if unknown."""
    given = (hazard.severity, hazard.exposure, hazard.avoidance)
    if None in given:
        return "", ""
    parameters = [str(word) for word in given]
    return required_level(*(int(word[1]) for word in parameters)).letter, " ".join(parameters)


def clauses(statement: Statement) -> Iterator[tuple[str, str]]:
    """What a requirement states, as it is written in the model: each clause with its formula."""
    if statement.when is not None:
        yield "when", statement.when.text
    formulas = (statement.p, statement.s)
    for word, formula in zip(PATTERNS[statement.pattern].clauses, formulas, strict=False):
        if formula is not None:
            yield word, formula.text
    if statement.within is not None:
        yield PATTERNS[statement.pattern].bound.replace("_", " "), statement.within.says
    for word, name in SCOPES[statement.scope].parts.items():
        formula = getattr(statement, name)
        if formula is not None:
            yield word, formula.text
    yield "judged", "after each scan" if statement.after_scan else "in every state"
    if statement.about_signals:
        yield "speaks of", "signals, not of what they read"


def state_of(finding: Finding) -> str:
    """``holds``, ``vacuous``, ``violated`` or ``undecided``."""
    return "vacuous" if finding.verdict.vacuous else finding.outcome.value


def verdict(dossier: Dossier, finding: Finding) -> dict[str, Any]:
    """A verdict with everything that it counts."""
    state = state_of(finding)
    found = finding.verdict
    says = "was never put to the test" if found.vacuous else state
    return {
        "state": state,
        "sign": SIGNS[state],
        "says": "violated (too late)" if finding.is_too_late else says,
        "why": finding.why(dossier.model),
        "under": finding.run_class.says,
        "harm": "" if finding.harm is None else finding.harm.value,
        "n_states": found.n_states,
        "n_premise": found.n_premise,
        "depth": found.depth,
        "engine": found.engine,
        "is_bound": found.limit is not None,
    }


def n_by_state(dossier: Dossier) -> dict[str, list[str]]:
    """The ids of requirements by the state of their verdict; every state is there."""
    found: dict[str, list[str]] = {state: [] for state in SIGNS}
    for finding in dossier.verification.findings:
        found[state_of(finding)].append(finding.requirement.id)
    return found


def summary(dossier: Dossier) -> str:
    """How many requirements have which verdict, with the ids of all that do not simply hold."""
    parts = []
    for state, ids in n_by_state(dossier).items():
        if ids and state == "holds":
            parts.append(f"{len(ids)} hold")
        elif ids:
            parts.append(f"{len(ids)} {state} ({', '.join(ids)})")
    return f"{counted(len(dossier.findings), 'requirement')}: {', '.join(parts) or 'none judged'}"


def outcome_words(outcome: Outcome) -> dict[str, str]:
    """An outcome of a study with its sign."""
    return {"state": outcome.value, "sign": SIGNS[outcome.value], "says": outcome.value}
