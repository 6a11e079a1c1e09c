"""What a test run asks of a model: one exploration for all its requirements, and procedures.

Nothing here knows of the test runner. `Studies` keeps what was explored for as long as it lives,
and recognises a revision that differs only in what a run without faults cannot see: it shares the
exploration of the model that it revises.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from io import StringIO
from pathlib import Path

from interlock.commands.rehearse import tell as rehearsal_report
from interlock.commands.rehearse.study import Rehearser
from interlock.commands.verify import tell as report
from interlock.judgement.engines import available
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Outcome
from interlock.model.build import GENERATED, Built, RunClass, build
from interlock.model.load import load
from interlock.model.model import Model
from interlock.model.procedures import PROCEDURES_FILE, Procedures, load_procedures
from interlock.model.reaction import ReactionTimes
from interlock.model.yaml import read
from interlock.telling.terminal import Terminal

# What no run without faults depends on, besides words.
_UNSEEN = {"revises", "title", "says", "changes", "expected", "assumptions", "cautions", "faults"}
_WIDTH = 110


@dataclass(frozen=True)
class Options:
    """How a test run judges.

    Attributes
    ----------
    faults : str
        ``"none"`` or ``"claimed"``.
    limits : Limits
    engine : str
    """

    faults: str = "none"
    limits: Limits = Limits()
    engine: str = "auto"


@dataclass(frozen=True)
class Result:
    """What became of one item.

    Attributes
    ----------
    passes : bool
    says : str
        Why not, or what is to be known although it passes; may be empty.
    properties : tuple of (str, str)
        For a machine-read report.
    untested : bool
        It could not be put to the test in this run, as `says` tells.
    """

    passes: bool
    says: str = ""
    properties: tuple[tuple[str, str], ...] = ()
    untested: bool = False


@dataclass
class _Known:
    """A model with the verification that judges some of its requirements."""

    model: Model
    ids: frozenset[str]
    verification: Verification


@dataclass
class Studies:
    """Explores models on demand and keeps the results.

    Parameters
    ----------
    options : Options
    """

    options: Options = field(default_factory=Options)
    n_explored: int = 0
    _known: list[_Known] = field(default_factory=list)
    _rehearsers: dict[str, Rehearser] = field(default_factory=dict)

    def verification(self, model: Model, ids: Iterable[str]) -> Verification:
        """The verification of `model` that judges the requirements `ids` together."""
        wanted = frozenset(ids)
        for known in self._known:
            if known.model is model and wanted <= known.ids:
                return known.verification
        found = self._shared(model, wanted) or self._explored(model, wanted)
        self._known.append(found)
        return found.verification

    def _shared(self, model: Model, wanted: frozenset[str]) -> _Known | None:
        """What was explored of another model that a run without faults cannot tell from this."""
        if self.options.faults != "none":
            return None
        built = build(model)
        for known in self._known:
            other = known.verification.built
            alike = other.system == built.system and other.requirements == built.requirements
            # Whether more could be asked with faults depends on there being any.
            may_fail = bool(other.model.independent_faults) is bool(model.independent_faults)
            if alike and may_fail and wanted <= known.ids:
                return _Known(model, known.ids, _with_its_own_delays(known.verification, built))
        return None

    def _explored(self, model: Model, wanted: frozenset[str]) -> _Known:
        engine = available()[self.options.engine]()
        judge = verify_claims if self.options.faults == "claimed" else verify
        verification = judge(model, engine, only=sorted(wanted), limits=self.options.limits)
        self.n_explored += 1
        return _Known(model, wanted, verification)

    def requirement(self, model: Model, id_: str, ids: Iterable[str]) -> Result:
        """Judge one requirement, in one exploration with all of `ids`.

        It fails where what every verdict rests on is not among them and otherwise than known.
        """
        verification = self.verification(model, ids)
        by_id = {finding.requirement.id: finding for finding in verification.findings}
        for generated in [by_id[one] for one in GENERATED if one in by_id and one not in ids]:
            # Nobody asked for it, but every verdict rests on it.
            said = _surprise(model, generated, self.options)
            if said is not None:
                rests_on = generated.requirement.id
                return Result(False, f"rests on {rests_on}, which is not so: {said}")
        return _judged(model, verification, by_id[id_], self.options)

    def pair(self, model: Model) -> Result:
        """Hold everything that `model` is known to do to its requirements against what it does."""
        verification = self.verification(model, build(model).requirements)
        surprises = [
            f"{f.requirement.id}: {said}"
            for f in verification.findings
            if (said := _surprise(model, f, self.options)) is not None
        ]
        known = [*model.expected_violated, *model.expected_vacuous]
        properties = (("expected", " ".join(known)), *_explored(verification))
        return Result(not surprises, "\n".join(surprises), properties)

    def under(self, model: Model, fault: str) -> Result:
        """Hold what `model` is known to violate where `fault` alone may strike against its runs."""
        known = model.expected_under[fault]
        engine = available()[self.options.engine]()
        run_class = RunClass((fault,), 1)
        verification = verify(model, engine, run_class, known, self.options.limits)
        outcomes = {f.requirement.id: f for f in verification.findings}
        surprises = [
            f"{id_}: expected to be violated where {fault} may strike: {outcomes[id_].says}"
            for id_ in known
            if outcomes[id_].outcome is not Outcome.VIOLATED
        ]
        properties = (("expected", " ".join(known)), *_explored(verification))
        return Result(not surprises, "\n".join(surprises), properties)

    def procedure(self, model: Model, procedures: Procedures, id_: str) -> Result:
        """Rehearse one procedure as written."""
        rehearser = self._rehearsers.get(str(model.folder))
        if rehearser is None:
            engine = available()[self.options.engine]()
            rehearser = Rehearser(model, procedures, engine, self.options.limits)
            self._rehearsers[str(model.folder)] = rehearser
        rehearsal = rehearser.rehearse([id_], deviating=False)
        (rehearsed,) = rehearsal.rehearsed
        holds = rehearsed.outcome is Outcome.HOLDS
        return Result(
            holds,
            "" if holds else _plain(rehearsal_report.render(rehearsal)),
            (("outcome", rehearsed.outcome.value), ("steps", str(len(rehearsed.procedure.steps)))),
        )


def _with_its_own_delays(v: Verification, built: Built) -> Verification:
    """The verification as that of a model with the same system: delays are no part of that."""
    timed = ReactionTimes(built.model)
    findings = (replace(f, reaction=timed.of(f.requirement.id, f.verdict)) for f in v.findings)
    return replace(v, built=built, findings=tuple(findings))


def _judged(model: Model, v: Verification, finding: Finding, options: Options) -> Result:
    properties = _properties(v, finding)
    said = _surprise(model, finding, options)
    if said is not None:
        if finding.outcome is Outcome.VIOLATED:
            said += "\n" + _plain(report.violation(v, finding))
        return Result(False, said, properties)
    if finding.is_left_out:
        return Result(True, f"{finding.why(model)}: judge with faults claimed", properties, True)
    return Result(True, "", properties)


def _surprise(model: Model, finding: Finding, options: Options) -> str | None:
    """What is otherwise than the model says it is known to be."""
    id_, verdict = finding.requirement.id, finding.verdict
    if verdict.outcome is Outcome.UNDECIDED:
        return f"undecided: {finding.why(model)}"
    known_violated = id_ in model.expected_violated or (
        options.faults == "claimed"
        and finding.requirement.survives > 0
        and any(id_ in model.expected_under.get(f, ()) for f in model.independent_faults)
    )
    if (finding.outcome is Outcome.VIOLATED) is not known_violated:
        return "expected to be violated, but it holds" if known_violated else finding.says
    known_vacuous = id_ in model.expected_vacuous
    if verdict.vacuous is known_vacuous or finding.is_left_out:
        return None
    if known_vacuous:
        return "expected to be vacuous, but its premise occurs"
    return f"vacuous: {finding.why(model)}"


def _explored(v: Verification) -> tuple[tuple[str, str], ...]:
    return (
        ("engine", v.exploration.engine),
        ("run class", "; ".join(run_class.says for run_class in v.classes)),
    )


def _properties(v: Verification, finding: Finding) -> tuple[tuple[str, str], ...]:
    verdict, explored = finding.verdict, v.exploration
    found = [
        ("outcome", finding.outcome.value),
        ("states", str(verdict.n_states)),
        ("engine", verdict.engine),
        ("run class", finding.run_class.says),
        ("premise", str(verdict.n_premise)),
    ]
    if explored.n_moves is not None and verdict.n_states == explored.n_states:
        found.insert(2, ("moves", str(explored.n_moves)))
    if finding.requirement.hazards:
        found.append(("hazards", " ".join(finding.requirement.hazards)))
    return tuple(found)


def _plain(renderable: object) -> str:
    console = Terminal(file=StringIO(), no_color=True, width=_WIDTH)
    console.print(renderable)
    assert isinstance(console.file, StringIO)
    return "\n".join(line.rstrip() for line in console.file.getvalue().splitlines())


@dataclass(frozen=True)
class Contents:
    """What a model file has to be judged.

    Attributes
    ----------
    model : Model
    requirements : mapping of str to (file, line)
        Where each requirement is written, the one that interlock adds itself included.
    pair : (str, int) or None
        Where the model says what it is known to do without faults.
    fault_places : mapping of str to (str, int)
        By fault: where it says what is violated under that one.
    procedures : Procedures or None
        Only those that stand beside the model itself.
    """

    model: Model
    requirements: Mapping[str, tuple[str, int]]
    pair: tuple[str, int] | None
    fault_places: Mapping[str, tuple[str, int]]
    procedures: Procedures | None
    procedure_places: Mapping[str, tuple[str, int]]


def contents(file: Path) -> Contents:
    """Read a model file and the procedures beside it.

    Raises
    ------
    InputError
        With every mistake of the files, each with its place.
    """
    model = load(file)
    places: dict[str, tuple[str, int]] = {}
    for id_ in build(model).requirements:
        root = model.controllers[0].program
        place = root.place if id_ in GENERATED else model.statements[id_].place
        places[id_] = (place.file, place.line)
    pair, under = None, {}
    own = read(model.sources[str(file)], str(file))
    if model.expected_violated or model.expected_vacuous:
        pair = (str(file), own.key_place(("expected",)).line)
    for fault in model.expected_under:
        under[fault] = (str(file), own.key_place(("expected", "under", fault)).line)
    beside = model.folder / PROCEDURES_FILE
    if not beside.is_file():
        return Contents(model, places, pair, under, None, {})
    procedures = load_procedures(model)
    document = read(procedures.sources[str(beside)], str(beside))
    lines = {
        id_: (str(beside), document.key_place(("procedures", id_)).line)
        for id_ in procedures.procedures
    }
    return Contents(model, places, pair, under, procedures, lines)


def explored_with(file: Path) -> Path:
    """The model file whose exploration `file` can share: its own, or that of what it revises.

    This is a guess from the text alone, made to send both to the same process. `Studies` compares
    the systems themselves before it shares anything.
    """
    try:
        given = read(file.read_text(encoding="utf-8"), str(file)).value
        if not isinstance(given, dict) or not isinstance(given.get("revises"), str):
            return file
        base = (file.parent / str(given["revises"]) / file.name).resolve()
        return base if set(given) <= _UNSEEN and base.is_file() else file
    # Whatever is wrong with the file is told where it is collected.
    except Exception:
        return file
