"""The change-impact statement: what must be validated and commissioned again, and on what ground.

Source: IEC 61508-3:2010, 7.8 (software modification) asks for an analysis of the impact of a
proposed change on functional safety, for what must be re-verified and re-validated (from memory).
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator

from interlock import __version__
from interlock.commands.compare.behaviour import (
    Behaviour,
    Likeness,
    OnOnePlant,
    OutputComparison,
    likeness_words,
)
from interlock.commands.compare.differences import Difference, gathered
from interlock.commands.compare.document import Block, Heading, Items, Paragraph, Table, table
from interlock.commands.compare.impact import Impact, value_words
from interlock.commands.compare.margins import margin_changes
from interlock.commands.compare.moves import MoveChange
from interlock.commands.compare.study import Comparison
from interlock.commands.compare.unlooked import not_looked_at
from interlock.commands.compare.verdicts import VerdictComparison
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.story import tell
from interlock.judgement.finding import Finding
from interlock.kernel.requirement import Outcome
from interlock.model.model import Model
from interlock.telling.ledger import HEADING, change_told
from interlock.telling.program import between_told

CAUTION = (
    "This statement follows from two models and from what was explored in them. It says nothing "
    "of what was not modelled, awards nothing, and replaces no decision of those responsible."
)
SCOPE = (
    "An impact analysis in the sense of IEC 61508-3:2010, 7.8 (software modification). Everything "
    "listed as touched needs validation again; what is listed as untouched was shown so within the "
    "model, as far as it was looked at; the end says what was not."
)


def checksums(model: Model) -> list[tuple[str, str]]:
    """Every file that was read, by its last two parts, with its SHA-256."""
    found = []
    for name, text in model.sources.items():
        short = "/".join(name.replace("\\", "/").split("/")[-2:])
        found.append((short, hashlib.sha256(text.encode()).hexdigest()))
    return sorted(found)


def verdict_words(finding: Finding | None) -> str:
    """A verdict in words."""
    if finding is None:
        return "not asked"
    return finding.says


def sets_words(sets: Iterable[tuple[str, ...]]) -> str:
    """Sets of faults in words."""
    return "; ".join(" + ".join(one) or "no fault" for one in sets)


def effect_words(verdict: VerdictComparison) -> str:
    """What the change does to a requirement, with what is asked less and what became of it."""
    words = [verdict.effect.value]
    if verdict.former is not None:
        words += [*verdict.former.asks_less, verdict.former.says]
    return "; ".join(word for word in words if word)


def claim_words(verdict: VerdictComparison) -> tuple[str, str]:
    """How many faults it survives in either model."""
    old, new = (
        "" if sets is None else f"survives {sets.tolerance}"
        for sets in (verdict.old_sets, verdict.new_sets)
    )
    return old, new


def conclusion(comparison: Comparison) -> str:
    """The comparison in one sentence."""
    if comparison.worse:
        return f"Worse in the new model: {', '.join(comparison.worse)}."
    if comparison.outcome is Outcome.UNDECIDED:
        return "Undecided: a limit was hit."
    behaviour = comparison.behaviour
    models = (comparison.old_model, comparison.new_model)
    if (
        behaviour is not None
        and behaviour.is_equal
        and not comparison.plant_differs
        and all(len(behaviour.outputs) == len(model.outputs) for model in models)
    ):
        return "No requirement is worse, and no output differs in anything reachable."
    return "No requirement is worse."


def impact_blocks(comparison: Comparison, impact: Impact) -> list[Block]:
    """The statement as a document."""
    return list(_blocks(comparison, impact))


def _blocks(c: Comparison, impact: Impact) -> Iterator[Block]:
    yield Heading(1, f"Change impact: {c.old_model.title} → {c.new_model.title}")
    yield Paragraph(SCOPE)
    yield Paragraph(conclusion(c))
    yield from _touched(impact)
    yield Heading(2, "Commissioning steps to repeat")
    if impact.steps:
        rows = [(str(n), step.action, step.because) for n, step in enumerate(impact.steps, 1)]
        yield table(("step", "do", "because"), rows)
    else:
        yield Paragraph("None follows from the models.")
    yield Heading(2, "What changed")
    yield _differences(c.differences)
    yield Heading(2, "Verdicts")
    yield from _verdicts(c)
    if c.ledgers is not None:
        yield Heading(3, HEADING)
        yield Items(tuple(change_told(c.ledgers, c.leaning)))
    yield Heading(2, "Outputs in lockstep")
    yield from _behaviour(c)
    yield Heading(2, "Moves of plant and people")
    yield from _moves(c)
    yield Heading(2, "What this rests on")
    yield from _ground(c)
    yield Heading(2, "What was not looked at")
    yield Items(not_looked_at(c))


def _touched(impact: Impact) -> Iterator[Block]:
    yield Heading(2, "What must be validated again")
    if not impact.touched:
        yield Paragraph("Nothing: no difference was found that reaches a requirement.")
    else:
        rows = [(t.kind, t.name, t.says, "\n".join(t.why)) for t in impact.touched]
        yield table(("what", "name", "says", "why"), rows)
    if impact.untouched:
        yield Paragraph(f"Untouched requirements: {', '.join(impact.untouched)}.")


def _differences(differences: Iterable[Difference]) -> Block:
    rows = []
    for difference in gathered(differences):
        kind = "in other words" if difference.is_wording else difference.kind.value
        for number, detail in enumerate(difference.details or [None]):
            first = (difference.section, difference.name, kind) if number == 0 else ("", "", "")
            cells = ("", "", "") if detail is None else (detail.facet, detail.before, detail.after)
            rows.append((*first, *cells))
    if not rows:
        return Paragraph("Nothing but layout and comments.")
    return table(("section", "name", "", "facet", "old", "new"), rows)


def _verdicts(c: Comparison) -> Iterator[Block]:
    rows = []
    for v in c.verdicts:
        premises = [f"{f.verdict.n_premise:,}" if f else "" for f in (v.old, v.new)]
        row = [v.id, v.says, verdict_words(v.old), verdict_words(v.new), *premises]
        if c.order:
            row += [*claim_words(v), sets_words(v.gained_sets), sets_words(v.lost_sets)]
        rows.append([*row, effect_words(v)])
    headings = ["", "requirement", "old", "new", "premise, old", "premise, new"]
    if c.order:
        headings += ["faults, old", "faults, new", "sets gained", "sets lost"]
    yield table([*headings, "effect"], rows)
    changes = margin_changes(c.verdicts)
    if changes:
        yield Paragraph("How much of its time is taken, where that changed:")
        yield Items(tuple(f"{change.id}: {change.says}" for change in changes))
    vacuous = [v.id for v in c.verdicts if v.newly_vacuous]
    if vacuous:
        yield Paragraph(f"Newly vacuous, the premise never occurs: {', '.join(vacuous)}.")
    for v in c.verdicts:
        if v.is_worse and v.new is not None and v.new.run is not None:
            yield Heading(3, f"{v.id} in the new model: a shortest run")
            yield _run(c.new_model, v.new.run)
        former = None if v.former is None else v.former.finding
        if former is not None and former.run is not None and former is not v.new:
            yield Heading(3, f"{v.id} as it was, in the new model: a shortest run")
            yield _run(c.new_model, former.run)


def _behaviour(c: Comparison) -> Iterator[Block]:
    behaviour = c.behaviour
    if behaviour is None:
        yield Paragraph(f"Not applicable: {c.not_applicable}.")
        return
    yield Paragraph(lockstep_words(behaviour))
    rows = [(o.output, c.old_model.outputs[o.output].says, *_told(c, o)) for o in behaviour.outputs]
    yield table(("output", "says", "found", "old", "new", "decided anew by"), rows)
    for outputs in runs_of(behaviour):
        run = outputs[0].run
        assert run is not None
        names = ", ".join(o.output for o in outputs)
        yield Heading(3, f"First difference of {names}: a shortest run")
        if run.happenings:
            yield _run(plant_of(c, outputs[0]), Replayed(run.happenings, None))
        else:
            yield Paragraph("They differ from power-up on.")


def lockstep_words(behaviour: Behaviour) -> str:
    """How the two controllers were run, and how far."""
    if len(behaviour.runs) == 1 and not behaviour.not_on_new:
        said = f"Both controllers scanned the same plant: {_how_far(behaviour, behaviour.on_old)}."
    else:
        plants = zip(("old", "new"), behaviour.runs, strict=False)
        parts = [f"the {which} plant, {_how_far(behaviour, run)}" for which, run in plants]
        said = f"The plant changed, too. Both controllers scanned {' and '.join(parts)}."
    if behaviour.not_on_new:
        said += f" On the new plant they cannot run: {behaviour.not_on_new}."
    found = {o.likeness for o in behaviour.outputs}
    if Likeness.ALIKE in found:
        said += (
            " 'Alike until another output differs' claims nothing for what comes after: the two "
            "plants then part."
        )
    if Likeness.SAME_LOGIC in found:
        said += (
            " 'Computed as before': the same function of the same signals, so it differs only "
            "where its signals do."
        )
    if Likeness.EITHER_PLANT in found:
        said += (
            " 'Alike on either plant': on one plant the two controllers never differ in it; from "
            "one plant to the other it may."
        )
    if behaviour.limit is not None:
        said += f" The exploration was cut short: {behaviour.limit}."
    return said


def _how_far(behaviour: Behaviour, run: OnOnePlant) -> str:
    parts = set(behaviour.differing) & run.product.driving
    how_far = "up to the first difference that moves the plant" if parts else "all of them"
    return f"{run.n_states:,} states, {how_far}"


def plant_of(c: Comparison, output: OutputComparison) -> Model:
    """The model whose plant the run to a difference is played on."""
    return c.new_model if output.on_new_plant else c.old_model


def runs_of(behaviour: Behaviour) -> list[list[OutputComparison]]:
    """The outputs that differ, grouped by their run; the shortest run first."""
    groups: dict[tuple[str, ...], list[OutputComparison]] = {}
    for output in behaviour.outputs:
        if output.run is not None:
            moves = tuple(happening.move for happening in output.run.happenings)
            groups.setdefault(moves, []).append(output)
    return [groups[moves] for moves in sorted(groups, key=len)]


def _told(c: Comparison, o: OutputComparison) -> tuple[str, str, str, str]:
    if o.run is None:
        return likeness_words(o), "", "", ""
    values = [value_words(c.old_model, o.output, v) for v in (o.run.before, o.run.after)]
    return likeness_words(o), values[0], values[1], o.run.decided


def _run(model: Model, run: Replayed) -> Table:
    rows = []
    for line in tell(model, run):
        changes = ", ".join(line.changes)
        rows.append(
            (
                str(line.number),
                line.who,
                line.says,
                changes,
                " ".join(place.short for place in line.decided),
            )
        )
    return table(("", "who", "does", "changes", "decided by"), rows)


def _moves(c: Comparison) -> Iterator[Block]:
    moves = c.moves
    if moves.limits:
        yield Paragraph(f"Undecided: an exploration was cut short ({', '.join(moves.limits)}).")
        return
    yield Paragraph(same_moves_words(c))
    for model, changes, words in (
        (c.new_model, moves.gained, "newly possible"),
        (c.old_model, moves.lost, "no longer possible"),
    ):
        for change in changes:
            yield Heading(3, f"{change.move}: {words} for the {change.by}")
            yield Paragraph(move_words(c, change))
            if change.run:
                yield _run(model, Replayed(change.run, None))
    for reached, words in (
        (moves.reached_only_new, "Configurations reached by the new model only"),
        (moves.reached_only_old, "Configurations reached by the old model only"),
    ):
        if reached:
            yield Paragraph(words + ":")
            yield Items(tuple(place_words(c, place) for place in reached))


def same_moves_words(c: Comparison) -> str:
    """How many moves did not change, and of whom."""
    return (
        f"{c.moves.n_unchanged} moves of plant, drivers and operators are possible in the very "
        f"same configurations of {', '.join(c.moves.machines) or 'no machine'}. Controls that may "
        "be set anywhere in both models are not counted."
    )


def place_words(c: Comparison, place: tuple[str, ...]) -> str:
    """A configuration in words."""
    pairs = zip(c.moves.machines, place, strict=True)
    return ", ".join(f"{machine} {state}" for machine, state in pairs)


def move_words(c: Comparison, change: MoveChange) -> str:
    """Where a move is possible in one model only."""
    if change.is_error_there:
        return "In the other model it is a human error, which was not looked at."
    if not change.elsewhere:
        return "The other model never makes it possible."
    places = " · ".join(place_words(c, place) for place in change.configurations)
    return f"Only here in one model: {places}."


def _ground(c: Comparison) -> Iterator[Block]:
    rows = []
    for which, verification in (("old", c.old), ("new", c.new)):
        explored = verification.exploration
        n = explored.n_states
        rows.append((which, verification.built.model.title, f"{n:,}", explored.limit or "none"))
    yield table(("", "model", "states", "limit hit"), rows)
    faults = "no component fault" if not c.order else f"up to {c.order} component faults at once"
    if c.faults:
        faults += f", of {', '.join(c.faults)}"
    yield Paragraph(f"Looked at: {faults}. Lockstep and moves: without faults.")
    told = dict.fromkeys((between_told(c.old_model), between_told(c.new_model)))
    yield Paragraph(f"Assumed: {'; in the new model '.join(told)}.")
    files = [("old", *pair) for pair in checksums(c.old_model)]
    files += [("new", *pair) for pair in checksums(c.new_model)]
    yield table(("", "file", "SHA-256"), files)
    for title, model in (("old", c.old_model), ("new", c.new_model)):
        if model.assumptions:
            yield Paragraph(f"Assumptions of the {title} model:")
            yield Items(model.assumptions)
    yield Paragraph(f"Written by interlock {__version__}. {CAUTION}")
