"""What a comparison of two random models says, against the second opinion on both.

Checked is what must not be said falsely:

* an output is told to differ, and as soon, where it does on either plant; one told equal differs on
  no plant, nor where each model is on its own and both did the same moves;
* a requirement told as not worse keeps its old statement in the new model as well as it was kept:
  the old text is put into the new file beside the old terms;
* what is untouched has the same verdict in both models, the same values in what it speaks of, and
  the same under as many faults as it claims to survive;
* a move is newly possible, or no longer, exactly where it can happen in one model only.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path

from interlock.base.errors import InputError
from interlock.commands.compare.behaviour import Behaviour, Likeness
from interlock.commands.compare.impact import Impact, find_impact
from interlock.commands.compare.study import Comparison, compare
from interlock.commands.compare.verdicts import Effect
from interlock.engines import catalogue
from interlock.kernel.system import MoveKind
from interlock.model.load import load
from interlock.model.model import Model, Statement
from interlock.model.reading import names_behind
from tests.second_opinion.one_plant import NotTogetherError, OnePlant, own_differences
from tests.second_opinion.opinion import ARITHMETIC, TIME, Opinion, opinions
from tests.second_opinion.reached import Reached, TooManyError, reach
from tests.second_opinion.revising import draw_pair, timed_pair
from tests.second_opinion.timed_world import world_of
from tests.second_opinion.world import Class, Kind

# Effects that say that nothing got worse.
KEPT = (Effect.SAME, Effect.BETTER, Effect.TESTED, Effect.RESTATED)
MOST_PAIRS = 4000


def check_pair(
    seed: int, folder: Path, counts: Counter[str], most: int, with_faults: bool = False
) -> list[str]:
    """Compare the pair of `seed`; every false statement found, in words."""
    old, new = draw_pair(seed, folder, most)
    found = compare(old, new, catalogue()["reference"](), with_faults)
    impact = find_impact(found)
    counts["pairs"] += 1
    counts["pairs with no difference at all"] += not found.differences
    whole, refused = _old_statements(folder)
    told = [
        *_outputs(old, new, found, counts),
        *_requirements(whole, refused, found, counts),
        *_untouched(old, new, found, impact, counts),
        *_moves(old, new, found, counts),
    ]
    if with_faults and whole is not None:
        told += _claims(whole, found, counts)
    return [f"seed {seed}: {one}" for one in told]


def check_timed_pair(seed: int, folder: Path, counts: Counter[str], most: int) -> list[str]:
    """As `check_pair`, of a pair with time; what was asked before is asked anew only there."""
    for attempt in range(50):
        try:
            old, new = timed_pair(50 * seed + attempt, folder / str(attempt), most)
        except TooManyError:
            continue
        found = compare(old, new, catalogue()["reference"]())
        counts["pairs"] += 1
        told = [
            *_outputs(old, new, found, counts),
            *_untouched(old, new, found, find_impact(found), counts),
            *_moves(old, new, found, counts),
        ]
        return [f"seed {seed}: {one}" for one in told]
    raise AssertionError(f"seed {seed} gives no pair of a fitting size")


# Outputs


def _outputs(old: Model, new: Model, found: Comparison, counts: Counter[str]) -> Iterator[str]:
    behaviour = found.behaviour
    if behaviour is None:
        counts["pairs that cannot run on one plant"] += 1
        return
    alone = own_differences(old, new, MOST_PAIRS)
    on_old = OnePlant(old, new).first_differences(_driving(behaviour, 0))
    on_new: dict[str, int] = {}
    try:
        on_new = OnePlant(new, old).first_differences(_driving(behaviour, -1))
    except NotTogetherError:
        if behaviour.is_equal:
            yield "outputs are told equal on a plant that one controller cannot scan"
    counts["pairs of two plants"] += behaviour.on_new is not None
    counts["outputs that differ where each model is on its own"] += len(alone)
    for output in behaviour.outputs:
        name, likeness = output.output, output.likeness
        counts[f"output {likeness.name}"] += 1
        where = on_new if output.on_new_plant else on_old
        if output.run is not None and len(output.run.happenings) != where.get(name):
            yield f"{name} differs after {len(output.run.happenings)}, not {where.get(name)} steps"
        if output.run is None and name in {*on_old, *on_new} and not behaviour.not_on_new:
            yield f"{name} is told '{likeness.value}' and differs"
        if likeness is Likeness.EQUAL and name in alone:
            yield f"{name} is told equal and differs where each model is on its own"


def _driving(behaviour: Behaviour, number: int) -> set[str]:
    return set(behaviour.runs[number].product.driving)


# Requirements


def _rank(opinion: Opinion) -> int:
    return 1 if opinion.is_violated else 2 if opinion.is_vacuous else 3


def _requirements(
    whole: Model | None, refused: set[str], found: Comparison, counts: Counter[str]
) -> Iterator[str]:
    old = found.old_model
    before = opinions(old, Class())
    there = {} if whole is None else opinions(whole, Class())
    for verdict in found.verdicts:
        id_ = verdict.id
        counts[f"requirement {verdict.effect.name}"] += 1
        if id_ == ARITHMETIC or id_ not in old.statements:
            continue
        if id_ in refused:
            counts["old statements that the new model refuses"] += 1
            if verdict.effect in KEPT:
                yield f"{id_} cannot be asked of the new model, and that is not said"
            continue
        ranks = _rank(before[id_]), _rank(there[id_])
        counts["old statements judged on the new model"] += 1
        if verdict.effect in KEPT and ranks[1] < ranks[0]:
            yield f"{id_} is told '{verdict.effect.value}', and its old statement is kept worse"
        is_better = verdict.effect is Effect.BETTER and not found.order
        if is_better and not verdict.former and ranks[1] <= ranks[0]:
            yield f"{id_} is told better, and its old statement is not"
        finding = None if verdict.former is None else verdict.former.finding
        if finding is not None:
            counts["former findings"] += 1
            is_violated = ranks[1] == 1
            if is_violated != (finding.verdict.outcome.value == "violated"):
                yield f"{id_}: the old statement is {finding.says} on the new model, it is told"


def _old_statements(folder: Path) -> tuple[Model | None, set[str]]:
    """The new model with the old one's requirements, and those of them that it refuses."""
    old, new = ((folder / which / "model.yaml").read_text("utf-8") for which in ("old", "new"))
    terms = {match[1]: match[2] for match in re.finditer(r"^  (t[0-9]): (.*)$", old, re.MULTILINE)}
    as_before = [f"  old_{term}: {_with_old_terms(text)}" for term, text in terms.items()]
    if "\nterms:\n" in new:
        new = new.replace("\nterms:\n", "\n".join(["\nterms:", *as_before, ""]))
    elif terms:
        new = new.replace("\nsensors:\n", "\n".join(["\nterms:", *as_before, "sensors:", ""]))
    asked = {match[1]: match[0] for match in re.finditer(r"^  (R[0-9]): .*$", old, re.MULTILINE)}
    here = folder / "as asked"
    here.mkdir(exist_ok=True)
    (here / "controller.st").write_text((folder / "new" / "controller.st").read_text("utf-8"))
    refused: set[str] = set()
    while len(refused) < len(asked):
        lines = [_with_old_terms(line) for id_, line in asked.items() if id_ not in refused]
        text = new[: new.index("\nrequirements:\n")] + "\n".join(["\nrequirements:", *lines, ""])
        (here / "model.yaml").write_text(text, "utf-8")
        try:
            return load(here), refused
        except InputError as error:
            at = [mistake.place.line for mistake in error.mistakes]
            known = set(text.splitlines()[at[0] - 1 : at[0]])
            known = {i for i, line in asked.items() if _with_old_terms(line) in known}
            # A term that is refused takes everything with it.
            refused |= known or set(asked)
    return None, refused


def _with_old_terms(text: str) -> str:
    return re.sub(r"\b(t[0-9])\b", r"old_\1", text)


def _claims(whole: Model, found: Comparison, counts: Counter[str]) -> Iterator[str]:
    """Claims that are told as kept, where the faults are the same in both models."""
    if any(d.section == "fault" for d in found.differences):
        return
    faults = whole.independent_faults
    before, after = (opinions(model, Class(faults, 1)) for model in (found.old_model, whole))
    for verdict in found.verdicts:
        old = found.old_model.statements.get(verdict.id)
        if old is None or not old.survives or verdict.effect not in KEPT:
            continue
        if verdict.id not in after:
            continue
        counts["old claims judged on the new model"] += 1
        if after[verdict.id].is_violated and not before[verdict.id].is_violated:
            yield f"{verdict.id} is told '{verdict.effect.value}', and its old claim is kept worse"


# What is untouched


def _untouched(
    old: Model, new: Model, found: Comparison, impact: Impact, counts: Counter[str]
) -> Iterator[str]:
    worlds = reach(world_of(old, Class())), reach(world_of(new, Class()))
    opinion = opinions(old, Class()), opinions(new, Class())
    faulty: list[Reached] = []
    if any(s.survives for s in old.statements.values()):
        faulty = [reach(world_of(m, Class(m.independent_faults, 1))) for m in (old, new)]
    for id_ in impact.untouched:
        counts["untouched requirements"] += 1
        both = [one.get(id_) for one in opinion]
        if id_ not in (ARITHMETIC, TIME) and None in both:
            yield f"{id_} is untouched and one model does not ask it"
            continue
        ranks = [3 if one is None else _rank(one) for one in both]
        if ranks[0] != ranks[1]:
            yield f"{id_} is untouched, and its verdict is another"
        if id_ in (ARITHMETIC, TIME):
            continue
        if _spoken_of(worlds[0], old, id_) != _spoken_of(worlds[1], new, id_):
            yield f"{id_} is untouched, and what it speaks of takes other values"
        if old.statements[id_].survives:
            counts["untouched claims"] += 1
            if _spoken_of(faulty[0], old, id_) != _spoken_of(faulty[1], new, id_):
                yield f"{id_} is untouched, and under faults what it speaks of takes other values"
    touched = {one.name for one in impact.touched}
    for name in {*old.machines, *old.outputs} - touched:
        counts["untouched machines and outputs"] += 1
        values = [
            {_label(model, name, truth[name]) for truth in world.truths}
            for model, world in zip((old, new), worlds, strict=True)
            if name in model.machines or name in model.outputs
        ]
        if len(values) < 2 or values[0] != values[1]:
            yield f"{name} is untouched, and takes other values"


def _spoken_of(reached: Reached, model: Model, id_: str) -> set[tuple[tuple[str, str], ...]]:
    """The combinations of values, by their labels, that a requirement's names take."""
    statement = model.statements[id_]
    names = set().union(*(names_behind(model, f.tree) for f in _formulas(statement)))
    found = set()
    for truth, signals in zip(reached.truths, reached.signals, strict=True):
        values: Mapping[str, int] = {**signals, **truth} if statement.about_signals else truth
        known = sorted(name for name in names if name in values and name not in model.faults)
        found.add(tuple((name, _label(model, name, values[name])) for name in known))
    return found


def _formulas(s: Statement) -> Iterator[object]:
    yield from (f for f in (s.p, s.s, s.when, s.opens, s.closes) if f is not None)


def _label(model: Model, name: str, value: int) -> str:
    machine = model.machines.get(name)
    return str(value) if machine is None else machine.states[value]


# Moves


def _moves(old: Model, new: Model, found: Comparison, counts: Counter[str]) -> Iterator[str]:
    machines = found.moves.machines
    free = _free_controls(old) & _free_controls(new)
    places = [_places(model, machines) for model in (old, new)]
    for told, here, there in (
        (found.moves.gained, places[1], places[0]),
        (found.moves.lost, places[0], places[1]),
    ):
        expected = {
            name: where - there.get(name, set())
            for name, where in here.items()
            if name not in free and where - there.get(name, set())
        }
        counts["moves of one model only"] += len(expected)
        if {change.move: set(change.configurations) for change in told} != expected:
            yield f"moves told: {[change.move for change in told]}, found: {sorted(expected)}"


def _free_controls(model: Model) -> set[str]:
    return {m.name for m in model.moves if model.machines[m.machine].is_control and m.when is None}


def _places(model: Model, machines: tuple[str, ...]) -> dict[str, set[tuple[str, ...]]]:
    """By move of plant or people: the configurations in which it can happen."""
    kinds = {move.name: move.kind for move in model.moves}
    reached = reach(world_of(model, Class()))
    found: dict[str, set[tuple[str, ...]]] = {}
    for truth, after in zip(reached.truths, reached.after, strict=True):
        place = tuple(model.machines[name].states[truth[name]] for name in machines)
        for act, _ in after:
            if act.kind is Kind.MOVE and kinds[act.name] is not MoveKind.HUMAN:
                found.setdefault(act.name, set()).add(place)
    return found
