"""Everything a report is made of: which studies it takes, and what they found."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from functools import cached_property

from interlock.commands.faults import fmea
from interlock.commands.faults.study import FaultStudy, Options, study_faults
from interlock.commands.rating.file import Rating
from interlock.commands.rating.study import Rated, rate
from interlock.commands.rehearse.card import Card, make_card
from interlock.commands.rehearse.results import Rehearsal
from interlock.commands.rehearse.study import Rehearser
from interlock.engines import catalogue
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.harm import with_harm
from interlock.judgement.ledger import Ledger, find_ledger
from interlock.judgement.margin import Margin
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import DeclinedError, Engine, Limits, ProgressSink, labelled
from interlock.model.build import build
from interlock.model.model import Model
from interlock.model.procedures import Procedures
from interlock.model.reaction import ReactionTime
from interlock.oversights.found import Looked
from interlock.oversights.study import look, questions_for
from interlock.pictures.collection import Maps, explore_maps

# What a reader can do without; the rest is what a report is.
PARTS = {
    "faults": "cut sets, failure modes and effects, fault trees",
    "matrix": "the cause-and-effect matrix",
    "diagrams": "state diagrams, map of conversions, permissives, supplies",
    "procedures": "procedures, their deviations, the operator card",
    "rating": "claimed safety functions and their arithmetic",
    "program": "the controller's text",
}


@dataclass(frozen=True)
class Choice:
    """What a report is to hold and how far its studies go.

    Attributes
    ----------
    left_out : frozenset of str
        Which of `PARTS`.
    claimed : bool
        Whether requirements are judged under as many faults as they claim to survive.
    order : int or None
        The most faults in one run of the fault study; None for any number.
    limits : Limits
        For each exploration.
    n_processes : int
        How many to spread the faults over that strike alone.
    with_ledger : bool
        Whether to ask which verdicts lean on what is assumed between two scans.
    """

    left_out: frozenset[str] = frozenset()
    claimed: bool = True
    order: int | None = 1
    limits: Limits = Limits()
    n_processes: int = 1
    with_ledger: bool = False


@dataclass(frozen=True)
class Dossier:
    """What the studies of one model found.

    Attributes
    ----------
    model : Model
    choice : Choice
    verification : Verification
    looked : Looked
        What no one should overlook, though it is no violation.
    maps : Maps
    faults : FaultStudy or None
    procedures : Procedures or None
    rehearsal : Rehearsal or None
    card : Card or None
    rating : Rating or None
    rated : tuple of Rated
        The claimed safety functions, held against the faults where those were studied.
    absent : mapping of str to str
        Which of `PARTS` are not there, each with the reason.
    ledger : Ledger or None
        On what verdicts lean between two scans, where that was asked.
    """

    model: Model
    choice: Choice
    verification: Verification
    looked: Looked
    maps: Maps
    faults: FaultStudy | None
    procedures: Procedures | None
    rehearsal: Rehearsal | None
    card: Card | None
    rating: Rating | None
    rated: tuple[Rated, ...]
    absent: Mapping[str, str]
    ledger: Ledger | None = None

    @cached_property
    def findings(self) -> dict[str, Finding]:
        """The findings by the ids of their requirements."""
        return {finding.requirement.id: finding for finding in self.verification.findings}

    @cached_property
    def reaction_times(self) -> dict[str, ReactionTime]:
        """The reaction times by the ids of their requirements."""
        return {found.requirement: found for found in self.verification.reaction_times}

    @cached_property
    def margins(self) -> dict[str, Margin]:
        """How much of its time each requirement ever takes, by its id."""
        found = {id_: finding.margin for id_, finding in self.findings.items()}
        return {id_: margin for id_, margin in found.items() if margin is not None}

    @cached_property
    def failure_modes(self) -> list[fmea.Row]:
        """The rows of the table of failure modes and effects."""
        return [] if self.faults is None else fmea.rows_of(self.faults)

    def of_hazard(self, hazard: str) -> list[Finding]:
        """The findings of the requirements that name a hazard, in the order of the model."""
        return [f for f in self.verification.findings if hazard in f.requirement.hazards]


def gather(
    model: Model,
    engine: Engine,
    choice: Choice = Choice(),
    procedures: Procedures | None = None,
    rating: Rating | None = None,
    progress: ProgressSink | None = None,
) -> Dossier:
    """Make every study that a report takes.

    Parameters
    ----------
    model : Model
    engine : Engine
        Judges the requirements.
    choice : Choice
    procedures : Procedures, optional
        Of the model, where it has any.
    rating : Rating, optional
        The safety functions that are claimed for the model.
    progress : callable, optional

    Raises
    ------
    DeclinedError
        Where the engine cannot take the model.
    InternalError
        Where two parts of interlock disagree; that is no verdict.
    """
    absent = _absent(model, choice.left_out, procedures, rating)
    parts = PARTS.keys() - absent.keys()
    judge = verify_claims if choice.claimed else verify
    sink = labelled(progress, "verdicts")
    asked = questions_for(model).queries
    found = judge(model, engine, limits=choice.limits, progress=sink, beside=asked)
    looked = look(model, found.beside, found.exploration.limit, engine, choice.limits, sink)
    found = with_harm(found, choice.limits, sink)
    ledger = None
    if choice.with_ledger:
        sink = labelled(progress, "ledger")
        ledger = find_ledger(found, judge, engine, choice.limits, sink)
    rehearsal, card = None, None
    if "procedures" in parts and procedures is not None:
        sink = labelled(progress, "procedures")
        rehearser = Rehearser(model, procedures, engine, choice.limits, sink)
        rehearsal = rehearser.rehearse()
        card = make_card(rehearser.recovery)
    faults = None
    if "faults" in parts:
        options = Options(
            order=choice.order, n_runs=1, limits=choice.limits, n_processes=choice.n_processes
        )
        sink = labelled(progress, "faults")
        try:
            faults = study_faults(model, catalogue()["enumerate"](), options, sink)
        except DeclinedError as reason:
            absent["faults"] = f"the engine of this study declines the model: {reason}"
    rated: tuple[Rated, ...] = ()
    if "rating" in parts and rating is not None:
        rated = rate(rating, model, known=faults)
    maps = _maps(model, engine, parts, choice.limits, labelled(progress, "maps"))
    return Dossier(
        model=model,
        choice=choice,
        verification=found,
        looked=looked,
        maps=maps,
        faults=faults,
        procedures=procedures,
        rehearsal=rehearsal,
        card=card,
        rating=rating,
        rated=rated,
        absent=dict(sorted(absent.items())),
        ledger=ledger,
    )


def _absent(
    model: Model,
    left_out: Collection[str],
    procedures: Procedures | None,
    rating: Rating | None,
) -> dict[str, str]:
    absent = dict.fromkeys(left_out, "left out by whoever made this report")
    if not model.live_faults:
        absent["faults"] = "the model declares no component fault that may strike"
    if procedures is None:
        absent.setdefault("procedures", "the model has no procedures")
    if rating is None:
        absent.setdefault("rating", "the model’s folder holds no rating.yaml")
    if model.timing is not None:
        for part in ("matrix", "procedures", "rating"):
            absent.setdefault(part, "it does not reckon with time, and time passes in this model")
    return absent


def _maps(
    model: Model,
    engine: Engine,
    parts: Collection[str],
    limits: Limits,
    progress: ProgressSink | None,
) -> Maps:
    """What pictures ask of one exploration; sets of values are the symbolic engine's trade."""
    if model.timing is not None or ("diagrams" not in parts and "matrix" not in parts):
        return Maps(None, None)
    built = build(model)
    try:
        drawing = catalogue()["symbolic"]()
        return explore_maps(built, drawing, "diagrams" in parts, True, False, limits, progress)
    except DeclinedError:
        return explore_maps(built, engine, "diagrams" in parts, True, False, limits, progress)
