"""The other sections: scope, reaction times, cause and effect, diagrams, procedures, inputs."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from importlib.metadata import PackageNotFoundError, version
from typing import Any

from interlock import __version__
from interlock.base.files import sha256
from interlock.commands.faults.study import order_words
from interlock.commands.rating import tell as rating_text
from interlock.commands.rating.figures import years_of
from interlock.commands.rating.study import Rated
from interlock.commands.rehearse import printed_card as rehearsal_card
from interlock.commands.rehearse.results import Class, DeviationResult, Rehearsed, StepResult
from interlock.commands.rehearse.tell import (
    LEGEND,
    back,
    duration_of,
    says,
    seconds_of,
    stands_at,
    told,
    why,
)
from interlock.commands.report.dossier import PARTS, Dossier
from interlock.commands.report.figures import Figure, figures_of
from interlock.judgement.finding import LEFT_FREE
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import MoveKind
from interlock.model.build import build
from interlock.model.model import Model
from interlock.pictures.conversions import draw_conversions
from interlock.pictures.machines import draw_machines
from interlock.pictures.matrix import shown_causes
from interlock.pictures.permissives import draw_permissives
from interlock.pictures.shown.influence import Effect
from interlock.pictures.supplies import draw_supplies
from interlock.reliability.figures import two_figures
from interlock.telling.counts import counted
from interlock.telling.ledger import lines_of, runs_of
from interlock.telling.program import between_told, free_inputs_of, left_out_of

# What computed or drew something in a report.
_LIBRARIES = (
    *("llvmlite", "oxidd", "transitions"),
    *("graphviz-pure", "jinja2", "weasyprint"),
)


def scope_view(dossier: Dossier) -> dict[str, Any]:
    """What was judged, in how many states, and what was not."""
    model = dossier.model
    found = dossier.verification
    machines = model.machines.values()
    human = [move for move in model.moves if move.kind is MoveKind.HUMAN]
    return {
        "sizes": [
            ("machines of the plant", sum(not m.is_control for m in machines)),
            ("controls that people set", sum(m.is_control and not m.is_free for m in machines)),
            ("moves of plant and people", sum(not m.takes_no_turn for m in model.moves)),
            ("signals that the program reads", len(model.sensors)),
            ("outputs of the program", len(model.outputs)),
            ("hazards", len(model.hazards)),
            ("requirements", len(found.findings)),
            ("declared component faults", len(model.faults)),
        ],
        "classes": [
            {"says": run_class.says, **_explored(dossier, number)}
            for number, run_class in enumerate(found.classes)
        ],
        "engine": found.exploration.engine,
        "limit": found.exploration.limit,
        "free_inputs": free_inputs_of(model),
        "left_out": [
            (f"{_way(model, one.place.file)}:{one.place.line}", one.says)
            for one in left_out_of(model)
        ],
        "between_scans": between_told(model),
        "left_free": (*found.left_free, LEFT_FREE) if found.left_free else (),
        "is_each_once": model.between_scans.is_each_once,
        "ledger": None if dossier.ledger is None else list(lines_of(dossier.ledger)),
        "ledger_runs": [] if dossier.ledger is None else list(runs_of(dossier.ledger)),
        "scan_ms": model.settings.scan_ms,
        "time": model.timing,
        "timers": model.settings.timers.value,
        "excluded": [f for f in model.faults.values() if f.excluded is not None],
        "common": [f for f in model.live_faults if f.common_cause],
        "human": human,
        "claimed": dossier.choice.claimed,
        "absent": [(part, PARTS[part], why) for part, why in dossier.absent.items()],
        "limits": _limits(dossier),
        "revises": None if model.revises is None else model.revises.name,
    }


def _explored(dossier: Dossier, number: int) -> dict[str, Any]:
    run_class = dossier.verification.classes[number]
    own = [f for f in dossier.verification.findings if f.run_class == run_class]
    states = sorted({f.verdict.n_states for f in own})
    return {
        "n_judged": len(own),
        "least": states[0] if states else None,
        "most": states[-1] if states else None,
        "engines": sorted({f.verdict.engine for f in own}),
        "limits": sorted({f.verdict.limit for f in own if f.verdict.limit is not None}),
    }


def _limits(dossier: Dossier) -> list[str]:
    limits = dossier.choice.limits
    found = []
    if limits.max_states is not None:
        found.append(counted(limits.max_states, "state"))
    if limits.max_seconds is not None:
        found.append(counted(round(limits.max_seconds), "second"))
    if limits.max_bytes is not None:
        found.append(f"{limits.max_bytes // 1_000_000:,} MB")
    return found


def matrix_view(dossier: Dossier) -> dict[str, Any]:
    """The cause-and-effect matrix as a table; empty where it was not asked for."""
    found = dossier.maps.influence
    if found is None or "matrix" in dossier.absent:
        return {}
    return {
        "legend": [(effect.value, effect.says) for effect in Effect if effect is not Effect.NONE],
        "effects": found.effects,
        # Names stand upright; a letter is about six pixels long.
        "height": 12 + 6 * max((len(name) for name in found.effects), default=0),
        "outputs": dossier.model.outputs,
        "rows": [
            {
                "name": cause.name,
                "says": cause.says,
                "memory": cause.is_memory,
                "cells": [
                    found.cells.get((cause.name, effect), Effect.NONE).value
                    for effect in found.effects
                ],
            }
            for cause in shown_causes(found)
        ],
        "left_out": found.left_out,
        "complete": found.complete,
    }


def diagrams_view(dossier: Dossier) -> list[tuple[str, list[Figure]]]:
    """The diagrams by sort; empty where they were not asked for."""
    if "diagrams" in dossier.absent:
        return []
    model, maps = dossier.model, dossier.maps
    built = build(model)
    found = [("State diagrams of the plant", figures_of(draw_machines(model)))]
    if maps.conversions is not None:
        map_ = figures_of([draw_conversions(built, maps.conversions)])
        found.append(("Map of the conversions", map_))
    if maps.influence is not None:
        permissives = figures_of(draw_permissives(built, maps.influence))
        found.append(("What permits which motion", permissives))
    found.append(("Supplies of power", figures_of(draw_supplies(model))))
    return [(title, figures) for title, figures in found if figures]


def procedures_view(dossier: Dossier) -> dict[str, Any]:
    """The procedures and the card; empty where they were not rehearsed."""
    rehearsal, card = dossier.rehearsal, dossier.card
    if rehearsal is None or card is None:
        return {}
    model = dossier.model
    return {
        "legend": LEGEND,
        "goal": rehearsal.procedures.goal.text,
        "cautions": rehearsal.procedures.cautions,
        "procedures": [_procedure(rehearsed) for rehearsed in rehearsal.rehearsed],
        "open": [one.procedure.id for one in rehearsal.rehearsed if _is_open(one)],
        "machines": [model.machines[name].says or name for name in card.machines],
        "rows": card.rows,
        "limit": card.limit,
    }


def _is_open(rehearsed: Rehearsed) -> bool:
    """Whether a limit left anything of it undecided, whatever else was found."""
    return (
        rehearsed.limit is not None
        or any(step.inevitable is None for step in rehearsed.steps)
        or any(result.outcome is Class.UNDECIDED for result in rehearsed.singles)
    )


def _procedure(rehearsed: Rehearsed) -> dict[str, Any]:
    singles = rehearsed.singles
    return {
        "id": rehearsed.procedure.id,
        "says": rehearsed.procedure.says,
        "abnormal": rehearsed.procedure.abnormal,
        "starts": rehearsed.procedure.starts.text,
        "ends": rehearsed.procedure.ends.text,
        "takes": duration_of(rehearsed),
        "started": rehearsed.start is not None,
        "does_end": rehearsed.ends,
        "standing": _standing(rehearsed),
        "limit": rehearsed.limit,
        "violates": rehearsed.requirement,
        "steps": [_step(result) for result in rehearsed.steps],
        "never": rehearsal_card.told(rehearsed)["never"],
        "n_by_class": [
            (kind.value, n) for kind in Class if (n := sum(s.outcome is kind for s in singles))
        ],
        "deviations": [
            _deviation(result)
            for kind in Class
            for result in singles
            if result.outcome is kind and kind is not Class.HARMLESS
        ],
    }


def _standing(rehearsed: Rehearsed) -> str:
    """How a procedure stands, in words."""
    if rehearsed.requirement is not None:
        return f"as written it violates {rehearsed.requirement}"
    if any(step.inevitable is False for step in rehearsed.steps):
        return "a step does not surely end"
    violated = {r.requirement for r in rehearsed.singles if r.outcome is Class.VIOLATING}
    if violated:
        return f"as written it ends; a deviation violates {', '.join(sorted(map(str, violated)))}"
    return {
        Outcome.HOLDS: "as written it ends, and no deviation violates anything",
        Outcome.VIOLATED: "it does not surely end as it should",
        Outcome.UNDECIDED: "undecided: a limit was hit",
    }[rehearsed.outcome]


def _step(result: StepResult) -> dict[str, Any]:
    takes = result.takes
    surely = {True: "yes", False: "no", None: "undecided"}[result.inevitable]
    reason = None if result.stand is None else result.stand.reason
    return {
        "step": result.step,
        "seconds": seconds_of(takes),
        "assumed": takes is not None and takes.assumed,
        "surely": surely if result.n_starts else "not reached",
        "why": "" if reason is None else told(reason),
        "is_too_short": result.is_too_short,
    }


def _deviation(result: DeviationResult) -> dict[str, Any]:
    return {
        "outcome": result.outcome.value,
        "says": says(result),
        "stands_at": stands_at(result.stand),
        "why": why(result),
        "back": back(result),
        "requirement": result.requirement,
    }


def rating_view(dossier: Dossier) -> dict[str, Any]:
    """The claimed safety functions; empty where there are none."""
    if dossier.rating is None or not dossier.rated:
        return {}
    return {
        "title": dossier.rating.title,
        "edition": dossier.rating.edition,
        "assumptions": dossier.rating.assumptions,
        "notes": rating_text.NOTES,
        "functions": [_function(one) for one in dossier.rated],
    }


def _function(one: Rated) -> dict[str, Any]:
    function = one.function
    return {
        "id": function.id,
        "says": function.says,
        "required": rating_text.required(one),
        "claimed": rating_text.claimed(function),
        "hazard": function.hazard,
        "requirements": function.requirements,
        "parts": [
            (name, part, two_figures(years_of(part)), rating_text.origin(part))
            for name, part in rating_text.parts_of(function)
        ],
        "figures": rating_text.figures(one),
        "against": rating_text.against(one),
        "standing": rating_text.standing(one),
    }


def worth_a_look_view(dossier: Dossier) -> dict[str, Any]:
    """What no one should overlook, with its place by its way from the model's folder."""
    rows = []
    for one in dossier.looked.oversights:
        place = f"{_way(dossier.model, one.place.file)}:{one.place.line}:{one.place.column}"
        rows.append((place, one.kind.value, one.says))
    return {"rows": rows, "undecided": dossier.looked.undecided}


def inputs_of(model: Model, *further: dict[str, str]) -> list[tuple[str, str]]:
    """Every file that was read, by its way from the model's folder, with its SHA-256."""
    texts = dict(model.sources)
    for more in further:
        texts.update(more)
    return sorted((_way(model, name), sha256(text)) for name, text in texts.items())


def _way(model: Model, name: str) -> str:
    try:
        return os.path.relpath(name, model.folder).replace("\\", "/")
    except ValueError:  # another drive
        return name.replace("\\", "/").rsplit("/", 1)[-1]


def inputs_view(dossier: Dossier) -> dict[str, Any]:
    """Files with their hashes, and what computed and drew."""
    further = {} if dossier.procedures is None else dict(dossier.procedures.sources)
    if dossier.rating is not None:
        further |= dossier.rating.sources
    return {
        "files": inputs_of(dossier.model, further),
        "settings": list(_settings(dossier)),
        "tools": [
            ("interlock", __version__),
            ("Python", ".".join(map(str, sys.version_info[:3]))),
            *((name, _version(name)) for name in _LIBRARIES),
        ],
    }


def _settings(dossier: Dossier) -> Iterator[tuple[str, str]]:
    choice = dossier.choice
    faults = "as many as each requirement claims to survive" if choice.claimed else "none"
    yield "faults in verdicts", faults
    yield "faults in one run of the study of faults", order_words(choice.order)
    yield "limits of each exploration", ", ".join(_limits(dossier)) or "none"
    yield "parts left out", ", ".join(sorted(choice.left_out)) or "none"


def _version(library: str) -> str:
    try:
        return version(library)
    except PackageNotFoundError:
        return "not installed"


def program_view(dossier: Dossier) -> dict[str, Any]:
    """The controller's text by lines; empty where it was left out."""
    if "program" in dossier.absent:
        return {}
    file = dossier.model.program.place.file
    return {
        "file": _way(dossier.model, file),
        "name": file.replace("\\", "/").rsplit("/", 1)[-1],
        "lines": dossier.model.sources[file].removesuffix("\n").split("\n"),
    }
