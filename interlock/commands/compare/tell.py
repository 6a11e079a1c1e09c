"""A comparison as JSON and for the terminal."""

from __future__ import annotations

import json
from typing import Any

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from interlock import __version__
from interlock.commands.compare.behaviour import Behaviour, Likeness, likeness_words
from interlock.commands.compare.differences import gathered
from interlock.commands.compare.impact import Impact, value_words
from interlock.commands.compare.margins import margin_changes
from interlock.commands.compare.moves import MoveChange
from interlock.commands.compare.study import Comparison
from interlock.commands.compare.tell_impact import (
    CAUTION,
    checksums,
    conclusion,
    effect_words,
    lockstep_words,
    move_words,
    place_words,
    plant_of,
    runs_of,
    same_moves_words,
    sets_words,
    verdict_words,
)
from interlock.commands.compare.unlooked import not_looked_at
from interlock.commands.compare.verdicts import Effect, Former, VerdictComparison
from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.story import tell
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.margin import Margin, margin_data
from interlock.kernel.requirement import Outcome
from interlock.model.model import Model
from interlock.telling.ledger import HEADING, change_told, ledger_data
from interlock.telling.program import between_data, between_told

STYLE = {Outcome.HOLDS: "green", Outcome.VIOLATED: "bold red", Outcome.UNDECIDED: "yellow"}
# So many configurations of a move are named on a terminal.
_MOST_PLACES = 3


def to_json(comparison: Comparison, impact: Impact) -> str:
    """The comparison as JSON; wall times are left out, they differ from run to run."""
    behaviour, moves = comparison.behaviour, comparison.moves
    data: dict[str, Any] = {
        "interlock": __version__,
        "outcome": comparison.outcome.value,
        "conclusion": conclusion(comparison),
        "old": _side(comparison.old),
        "new": _side(comparison.new),
        "faults_at_once": comparison.order,
        "faults": list(comparison.faults),
        "differences": [
            {
                "section": d.section,
                "name": d.name,
                "kind": d.kind.value,
                "wording_only": d.is_wording,
                "details": [{"facet": x.facet, "old": x.before, "new": x.after} for x in d.details],
            }
            for d in comparison.differences
        ],
        "requirements": [_verdict(v) for v in comparison.verdicts],
        **_margins(comparison),
        "lockstep": None,
        "lockstep_not_applicable": comparison.not_applicable or None,
        "moves": {
            "machines": list(moves.machines),
            "n_unchanged": moves.n_unchanged,
            "gained": [_change(change) for change in moves.gained],
            "lost": [_change(change) for change in moves.lost],
            "reached_only_new": [list(place) for place in moves.reached_only_new],
            "reached_only_old": [list(place) for place in moves.reached_only_old],
            "limits": list(moves.limits),
        },
        "touched": [
            {"kind": t.kind, "name": t.name, "says": t.says, "why": list(t.why)}
            for t in impact.touched
        ],
        "untouched_requirements": list(impact.untouched),
        "commissioning": [{"do": s.action, "because": s.because} for s in impact.steps],
    }
    if behaviour is not None:
        data["lockstep"] = _lockstep(behaviour)
    if comparison.ledgers is not None:
        old, new = comparison.ledgers
        data["ledgers"] = {
            "old": ledger_data(old),
            "new": ledger_data(new),
            "newly_leaning": list(dict.fromkeys(one.requirement for one in comparison.leaning)),
        }
    # Last, so that no reader of the text comes to an end without it.
    data["not_looked_at"] = list(not_looked_at(comparison))
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def _margins(comparison: Comparison) -> dict[str, Any]:
    """The margins that are not what they were, where time is counted."""
    models = (comparison.old_model, comparison.new_model)
    if all(model.timing is None for model in models):
        return {}

    def told(margin: Margin | None) -> dict[str, Any] | None:
        return None if margin is None else margin_data(margin)

    changes = margin_changes(comparison.verdicts)
    return {"margins": [{"id": m.id, "old": told(m.old), "new": told(m.new)} for m in changes]}


def _lockstep(behaviour: Behaviour) -> dict[str, Any]:
    plants = zip(("old", "new"), behaviour.runs, strict=False)
    return {
        "plants": [
            {
                "plant": which,
                "engine": run.engine,
                "n_states": run.n_states,
                "n_moves": run.n_moves,
                "depth": run.depth,
                "limit": run.limit,
            }
            for which, run in plants
        ],
        "not_on_the_new_plant": behaviour.not_on_new or None,
        "outputs": [
            {
                "output": o.output,
                "likeness": o.likeness.value,
                "plant": None if o.run is None else "new" if o.on_new_plant else "old",
                "old": None if o.run is None else o.run.before,
                "new": None if o.run is None else o.run.after,
                "run": None if o.run is None else _names(o.run.happenings),
                "decided": None if o.run is None else o.run.decided or None,
            }
            for o in behaviour.outputs
        ],
    }


def _names(happenings: tuple[Happening, ...]) -> list[str]:
    return [happening.move for happening in happenings]


def _side(verification: Verification) -> dict[str, Any]:
    model, explored = verification.built.model, verification.exploration
    return {
        "title": model.title,
        "inputs": [{"file": name, "sha256": checksum} for name, checksum in checksums(model)],
        **between_data(model),
        "engine": explored.engine,
        "n_states": explored.n_states,
        "limit": explored.limit,
        "assumptions": list(model.assumptions),
    }


def _verdict(v: VerdictComparison) -> dict[str, Any]:
    return {
        "id": v.id,
        "says": v.says,
        "effect": v.effect.value,
        "newly_vacuous": v.newly_vacuous,
        "old": _finding(v.old),
        "new": _finding(v.new),
        "former": None if v.former is None else _former(v.former),
        "sets_gained": [list(one) for one in v.gained_sets],
        "sets_lost": [list(one) for one in v.lost_sets],
    }


def _former(former: Former) -> dict[str, Any]:
    return {
        "asks_less": list(former.asks_less),
        "says": former.says,
        "why_not_judged": former.why_not or None,
        "on_the_new_model": _finding(former.finding),
        "claim": None if former.claim is None else former.claim.value,
    }


def _finding(finding: Finding | None) -> dict[str, Any] | None:
    if finding is None:
        return None
    verdict = finding.verdict
    return {
        "outcome": finding.outcome.value,
        "vacuous": verdict.vacuous,
        "n_premise": verdict.n_premise,
        "n_states": verdict.n_states,
        "limit": verdict.limit,
        "run": None if finding.run is None else _names(finding.run.happenings),
    }


def _change(change: MoveChange) -> dict[str, Any]:
    return {
        "move": change.move,
        "by": change.by,
        "human_error_in_the_other": change.is_error_there,
        "possible_elsewhere_in_the_other": change.elsewhere,
        "configurations": [list(place) for place in change.configurations],
        "run": _names(change.run),
    }


# The terminal


def write(console: Console, comparison: Comparison, impact: Impact) -> None:
    """Print the comparison."""
    console.print(Group(*_parts(comparison, impact)))


def _parts(c: Comparison, impact: Impact) -> list[RenderableType]:
    parts: list[RenderableType] = [
        Text(f"{c.old_model.title} → {c.new_model.title}", style="bold"),
        *dict.fromkeys((between_told(c.old_model), between_told(c.new_model))),
        "",
        Text("What changed", style="bold"),
        _differences(c),
        "",
        Text("Verdicts", style="bold"),
        *_verdicts(c),
        *_leaning(c),
        "",
        Text("Outputs in lockstep", style="bold"),
        *_behaviour(c),
        "",
        Text("Moves of plant and people", style="bold"),
        *_moves(c),
        "",
    ]
    kinds = ("requirement", "hazard", "output", "signal", "machine")
    counts = [f"{len(impact.of_kind(k))} {k}{'s'[: len(impact.of_kind(k)) != 1]}" for k in kinds]
    said = f"To validate again: {', '.join(counts)}; {len(impact.steps)} commissioning steps."
    parts += [Text(said), Text(conclusion(c), style=STYLE[c.outcome]), Text(CAUTION), ""]
    parts.append(Text("What was not looked at", style="bold"))
    parts += [Text(f"- {sentence}") for sentence in not_looked_at(c)]
    return parts


def _leaning(c: Comparison) -> list[RenderableType]:
    """What comes to lean on what is assumed between two scans, where that was asked."""
    if c.ledgers is None:
        return []
    lines = change_told(c.ledgers, c.leaning)
    return ["", Text(HEADING, style="bold"), *(Text(line) for line in lines)]


def _grid(*columns: str) -> Table:
    grid = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for column in columns:
        grid.add_column(column)
    return grid


def _differences(c: Comparison) -> RenderableType:
    if not c.differences:
        return Text("Nothing but layout and comments.")
    grid = _grid("", "", "", "old", "new")
    for difference in gathered(c.differences):
        kind = "in other words" if difference.is_wording else difference.kind.value
        told = [d for d in difference.details if d.facet != "says"] or list(difference.details)
        for number, detail in enumerate(told):
            name = Text(f"{difference.section} {difference.name}" if number == 0 else "")
            facet = "" if detail.facet == "statement" else detail.facet
            words = Text(kind if number == 0 else "")
            grid.add_row(name, words, Text(facet), Text(detail.before), Text(detail.after))
        if not told:
            grid.add_row(Text(f"{difference.section} {difference.name}"), kind, "", "", "")
    return grid


def _verdicts(c: Comparison) -> list[RenderableType]:
    grid = _grid("", "requirement", "old", "new", "premise, old", "new", "effect")
    n_same = 0
    for v in c.verdicts:
        told = v.gained_sets or v.lost_sets or v.former
        if v.effect is Effect.SAME and not told:
            n_same += 1
            continue
        premises = [f"{f.verdict.n_premise:,}" if f else "" for f in (v.old, v.new)]
        style = "bold red" if v.is_worse else ""
        effect = Text(effect_words(v), style=style)
        if v.gained_sets:
            effect.append(f"; now broken by {sets_words(v.gained_sets)}", style="bold red")
        if v.lost_sets:
            effect.append(f"; no longer broken by {sets_words(v.lost_sets)}")
        grid.add_row(
            v.id, Text(v.says), verdict_words(v.old), verdict_words(v.new), *premises, effect
        )
    parts: list[RenderableType] = [grid] if grid.row_count else []
    parts.append(Text(f"{n_same} of {len(c.verdicts)} requirements: the same verdict."))
    parts += [Text(f"{change.id}: {change.says}") for change in margin_changes(c.verdicts)]
    vacuous = [v.id for v in c.verdicts if v.newly_vacuous]
    if vacuous:
        parts.append(Text(f"Newly vacuous: {', '.join(vacuous)}.", style="yellow"))
    return parts


def _behaviour(c: Comparison) -> list[RenderableType]:
    behaviour = c.behaviour
    if behaviour is None:
        return [Text(f"Not applicable: {c.not_applicable}.")]
    parts: list[RenderableType] = [Text(lockstep_words(behaviour))]
    for likeness in Likeness:
        if likeness is Likeness.DIFFERS:
            continue
        names = [o.output for o in behaviour.outputs if o.likeness is likeness]
        if names:
            parts.append(Text(f"{likeness.value}: {', '.join(names)}"))
    groups = runs_of(behaviour)
    for outputs in groups:
        values = []
        for o in outputs:
            assert o.run is not None
            old, new = (
                value_words(c.old_model, o.output, value) for value in (o.run.before, o.run.after)
            )
            by = f", {o.run.decided}" if o.run.decided else ""
            values.append(f"{o.output} (old {old}, new {new}{by})")
        parts.append(Text(f"{likeness_words(outputs[0])}: {', '.join(values)}"))
    if groups and groups[0][0].run is not None:
        run = groups[0][0].run
        parts.append(Text("The shortest of these runs, replayed on both programs:"))
        parts.append(_run(plant_of(c, groups[0][0]), run.happenings))
    return parts


def _run(model: Model, happenings: tuple[Happening, ...]) -> RenderableType:
    grid = Table(box=None, show_header=False, pad_edge=False, padding=(0, 2, 0, 0))
    grid.add_column(justify="right", style="dim")
    for line in tell(model, Replayed(happenings, None)):
        changes = Text(", ".join(line.changes))
        grid.add_row(str(line.number), line.who, Text(line.says), changes)
    return Padding(grid, (0, 0, 0, 2))


def _moves(c: Comparison) -> list[RenderableType]:
    moves = c.moves
    if moves.limits:
        return [Text(f"Undecided: cut short ({', '.join(moves.limits)}).", style="yellow")]
    parts: list[RenderableType] = []
    for changes, words in ((moves.gained, "newly possible"), (moves.lost, "no longer possible")):
        for change in changes:
            said = f"{words} for the {change.by}: {change.move}"
            said += f", a run of {len(change.run)} steps" if change.run else ""
            n_more = len(change.configurations) - _MOST_PLACES
            if not change.elsewhere or change.is_error_there:
                said += f". {move_words(c, change)}"
            else:
                places = change.configurations[:_MOST_PLACES]
                said += ", with " + " · ".join(place_words(c, place) for place in places)
                said += f" and {n_more} more" if n_more > 0 else ""
            parts.append(Text(said))
    for reached, words in (
        (moves.reached_only_new, "reached by the new model only"),
        (moves.reached_only_old, "reached by the old model only"),
    ):
        parts += [Text(f"{words}: {place_words(c, place)}") for place in reached]
    return [*parts, Text(same_moves_words(c))]
