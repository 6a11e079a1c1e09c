"""The second opinion beside the product's: verdict by verdict, set by set, length by length."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from interlock.commands.faults.study import Options, study_faults
from interlock.engines import catalogue
from interlock.engines.symbolic.explored import Explored
from interlock.judgement.fault_sets import RequirementSets, ask_all, find_sets, flags_of
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome, Pattern, Verdict
from interlock.model.build import RunClass, build
from interlock.model.model import Model
from tests.second_opinion.drawing import draw
from tests.second_opinion.met import met_in_model, met_in_requirement, met_in_sets
from tests.second_opinion.opinion import ARITHMETIC, TIME, Opinion, opinions
from tests.second_opinion.watching import MUST_CLOSE
from tests.second_opinion.world import Class

ENGINES = ("enumerate", "reference", "symbolic")
ORDER = 2


@dataclass(frozen=True)
class Disagreement:
    """Something on which the two opinions differ.

    Attributes
    ----------
    seed : int
    by : str
        The engine, or the search for sets.
    requirement : str
    about : str
        What it is about: verdict, vacuity, length, sets.
    pattern : str
        Pattern and scope.
    ours, theirs : str
        The second opinion and the product's.
    """

    seed: int
    by: str
    requirement: str
    about: str
    pattern: str
    ours: str
    theirs: str

    def __str__(self) -> str:
        return (
            f"seed {self.seed}, {self.requirement} ({self.pattern}), {self.about} by {self.by}: "
            f"second opinion {self.ours}, product {self.theirs}"
        )


def compare_seed(
    seed: int,
    folder: Path,
    counts: Counter[str],
    most: int,
    engines: Collection[str] = ENGINES,
    whole_study: bool = True,
) -> list[Disagreement]:
    """Draw the model of `seed` and compare everything; what was compared is counted.

    Parameters
    ----------
    seed : int
    folder : Path
        Where the model is written.
    counts : Counter
        Grows.
    most : int
        Most states of the model.
    engines : collection of str
        Those to compare with; a finding of any is judged by the product's own judge, too.
    whole_study : bool
        Compare with the whole study of faults, too, which takes its time.
    """
    drawn, model = draw(seed, folder, most)
    counts["models"] += 1
    counts.update(met_in_model(model, drawn.run_class))
    ours = opinions(model, drawn.run_class)
    for id_, opinion in ours.items():
        counts.update(met_in_requirement(model, id_, opinion))
    found = []
    for name in engines:
        found += by_engine(name, seed, model, drawn.run_class, ours, counts)
    if model.live_faults:
        found += by_sets(seed, model, counts, whole_study)
    return found


def by_engine(
    name: str,
    seed: int,
    model: Model,
    run_class: Class,
    ours: Mapping[str, Opinion],
    counts: Counter[str],
) -> Iterator[Disagreement]:
    """Verdicts of one engine; none may decline what is drawn."""
    theirs = RunClass(run_class.faults, run_class.at_most, run_class.human)
    verification = verify(model, catalogue()[name](), theirs)
    verdicts = {f.requirement.id: f.verdict for f in verification.findings}
    for id_, opinion in ours.items():
        verdict = verdicts.get(id_)
        counts[f"verdicts by {name}"] += 1
        counts[f"lengths by {name}"] += verdict is not None and _is_ending(verdict)
        for about, our, their in _differences(model, id_, opinion, verdict):
            yield Disagreement(seed, name, id_, about, _kind(model, id_), our, their)


def _is_ending(verdict: Verdict) -> bool:
    return verdict.witness is not None and verdict.witness.loop_start is None


def _differences(
    model: Model, id_: str, opinion: Opinion, verdict: Verdict | None
) -> Iterator[tuple[str, str, str]]:
    """What differs: what it is about, ours and theirs."""
    if verdict is None:
        # Where no arithmetic of the program could go wrong, the product does not ask.
        if id_ not in (ARITHMETIC, TIME) or opinion.is_violated:
            yield "verdict", _word(opinion), "not judged"
        return
    assert verdict.outcome is not Outcome.UNDECIDED
    if opinion.is_violated != (verdict.outcome is Outcome.VIOLATED):
        yield "verdict", _word(opinion), verdict.outcome.value
        return
    if opinion.is_vacuous != verdict.vacuous:
        parts = ", ".join(opinion.never_occurs) or "no part"
        theirs = f"{verdict.n_premise} times {dict(verdict.parts)}"
        yield "vacuity", f"{parts} never occurs", theirs
    witness = verdict.witness
    if opinion.is_violated and witness is not None:
        # What can only be seen on an endless run has no fewest steps.
        length = len(witness) if _is_ending(verdict) else None
        if opinion.length != length and (length is not None or _ends(model, id_)):
            yield "length", str(opinion.length), str(length)


def _ends(model: Model, id_: str) -> bool:
    """Whether each run that violates a requirement ends."""
    given = model.statements.get(id_)
    if given is None or given.scope in MUST_CLOSE or given.within is not None:
        return True
    return given.pattern not in (Pattern.EXISTS, Pattern.LEADS_TO)


def _word(opinion: Opinion) -> str:
    return "violated" if opinion.is_violated else "holds"


def _kind(model: Model, id_: str) -> str:
    if id_ not in model.statements:
        return "generated"
    given = model.statements[id_]
    bounded = " within" if given.within else ""
    judged = " after scan" if given.after_scan else ""
    return f"{given.pattern.value}{bounded} {given.scope.value}{judged}"


def by_sets(
    seed: int, model: Model, counts: Counter[str], whole_study: bool
) -> Iterator[Disagreement]:
    """Minimal sets of the faults, in a run class without human errors.

    Parameters
    ----------
    seed : int
    model : Model
        With faults that may strike.
    counts : Counter
    whole_study : bool
        As for `compare_seed`.
    """
    faults = tuple(model.faults)
    theirs = {"find_sets": (ORDER, _found_sets(model))}
    if whole_study:
        options = Options(order=1, sensors=False, n_runs=1)
        study = study_faults(model, catalogue()["enumerate"](), options)
        theirs["study_faults"] = (1, study.sets)
    for name, (order, their) in theirs.items():
        for id_, opinion in opinions(model, Class(faults, order)).items():
            counts[f"sets by {name}"] += 1
            if name == "find_sets":
                counts.update(met_in_sets(model, opinion))
            if id_ in (ARITHMETIC, TIME) and not opinion.sets and id_ not in their:
                continue
            found = frozenset(map(frozenset, their[id_].sets)) if id_ in their else None
            if opinion.sets != found:
                said = "not judged" if found is None else _sets(found)
                kind = _kind(model, id_)
                yield Disagreement(seed, name, id_, "sets", kind, _sets(opinion.sets), said)


def _found_sets(model: Model) -> Mapping[str, RequirementSets]:
    built = build(model, RunClass(tuple(model.faults), ORDER))
    ids = flags_of(model, model.faults)
    asked = ask_all(built.system, built.requirements.values())
    return find_sets(built, Explored(asked.system, tuple(ids)), asked, ids)


def _sets(sets: frozenset[frozenset[str]]) -> str:
    if not sets:
        return "none"
    return " ".join(sorted("{" + ",".join(sorted(one)) + "}" for one in sets))
