"""Which verdicts lean on what is assumed between two scans, and what shows that they do.

A verdict 'holds' is asked again under each weaker assumption in turn, until it falls. All runs of
the stronger assumption are runs of the weaker one, so what is violated by a run stays violated
under all that is weaker still; only what can always still happen may come to hold again.

That a scan reads what its sensors give is an assumption of its own line: where the model says
nothing of late signals, each verdict is asked once more with values one scan old, and between two
scans what was assumed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from interlock.judgement.finding import Finding, Verification
from interlock.kernel.query import Engine, Limits, ProgressSink, labelled
from interlock.kernel.requirement import Outcome
from interlock.model.between import BetweenScans
from interlock.model.model import Model
from interlock.model.wiring import shared_by
from interlock.st.types import BOOL

Judge = Callable[..., Verification]


# With values one scan old. Fifty signals that may each be late make a larger system than any.
_LATE_STATES = 10_000_000


@dataclass(frozen=True)
class OldValues:
    """That a scan reads what its sensors gave a scan before, each signal on its own.

    Attributes
    ----------
    signals : tuple of str
        Those that may be late.
    others : tuple of str
        What reads the plant and was not tried: no BOOL, or read by several controllers.
    """

    signals: tuple[str, ...]
    others: tuple[str, ...] = ()

    def __str__(self) -> str:
        return "values one scan old"


Assumption = BetweenScans | OldValues


@dataclass(frozen=True)
class Leaning:
    """What became of one requirement that holds, under the weaker assumptions.

    Attributes
    ----------
    requirement : str
    holds_with : tuple of BetweenScans or OldValues
        Where it holds as well, from the next weaker assumption on.
    falls_with : BetweenScans, OldValues or None
        The first weaker assumption under which it does not hold.
    found : Finding or None
        What was found there: a violation with its run, or that it is undecided and why.
    judged : Verification or None
        The verification under `falls_with`.
    """

    requirement: str
    holds_with: tuple[Assumption, ...]
    falls_with: Assumption | None = None
    found: Finding | None = None
    judged: Verification | None = None

    @property
    def leans(self) -> bool:
        """Whether it is violated under a weaker assumption."""
        return self.found is not None and self.found.outcome is Outcome.VIOLATED

    @property
    def is_open(self) -> bool:
        """Whether it is undecided under a weaker assumption."""
        return self.found is not None and not self.leans

    @property
    def n_steps(self) -> int | None:
        """Length of the shortest run that violates it there, where there is one."""
        run = None if self.found is None else self.found.run
        return None if run is None else len(run.happenings)


@dataclass(frozen=True)
class Ledger:
    """On which assumption between two scans verdicts rest, and which of them need it.

    Attributes
    ----------
    rests_on : BetweenScans
    asked : tuple of BetweenScans
        The weaker assumptions that were asked for, in order.
    leanings : tuple of Leaning
        Of every requirement that holds, in the order of the model.
    old_values : OldValues or None
        With which each was asked, on a line of its own; None where the model has late signals, or
        no signal that could be.
    on_old_values : tuple of Leaning
        What became of each there.
    """

    rests_on: BetweenScans
    asked: tuple[BetweenScans, ...]
    leanings: tuple[Leaning, ...]
    old_values: OldValues | None = None
    on_old_values: tuple[Leaning, ...] = ()

    @property
    def every(self) -> tuple[Leaning, ...]:
        """The leanings of both lines."""
        return (*self.leanings, *self.on_old_values)


def find_ledger(
    verification: Verification,
    judge: Judge,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Ledger:
    """Ask what holds again under every weaker assumption, and with values one scan old.

    Parameters
    ----------
    verification : Verification
    judge : callable
        `interlock.judgement.verify.verify_claims`, or `verify` where no faults were asked for.
    engine : Engine
    limits : Limits
        For each exploration. That with old values also ends at ten million states.
    progress : callable, optional
    """
    asked, leanings = ask_between_scans(verification, judge, engine, limits, progress)
    model = verification.built.model
    late, on_late = old_values_of(model) if leanings else None, {}
    if late is not None:
        most = min(_LATE_STATES, limits.max_states or _LATE_STATES)
        capped = replace(limits, max_states=most)
        judging = _Judging(judge, engine, capped, labelled(progress, str(late)))
        held = [Leaning(one.requirement, ()) for one in leanings]
        on_late = judging.of(with_old_values(model, late), late, held)
    return Ledger(model.between_scans, asked, leanings, late, tuple(on_late.values()))


def ask_between_scans(
    verification: Verification,
    judge: Judge,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> tuple[tuple[BetweenScans, ...], tuple[Leaning, ...]]:
    """As `find_ledger`, for what is assumed between two scans alone: what was asked, what leans."""
    model = verification.built.model
    weaker = model.between_scans.weaker
    held = [f.requirement.id for f in verification.findings if f.outcome is Outcome.HOLDS]
    known = {id_: Leaning(id_, ()) for id_ in held}
    asked = []
    for between in weaker:
        ids = [id_ for id_, leaning in known.items() if leaning.falls_with is None]
        if not ids:
            break
        asked.append(between)
        judging = _Judging(judge, engine, limits, labelled(progress, str(between)))
        known |= judging.of(model.assuming(between), between, [known[id_] for id_ in ids])
    return tuple(asked), tuple(known.values())


@dataclass(frozen=True)
class _Judging:
    """Asks some requirements of a model under an assumption."""

    judge: Judge
    engine: Engine
    limits: Limits
    progress: ProgressSink | None

    def of(
        self, model: Model, assumption: Assumption, so_far: Sequence[Leaning]
    ) -> dict[str, Leaning]:
        """What becomes of each, by requirement."""
        known = {one.requirement: one for one in so_far}
        judged = self.judge(
            model, self.engine, only=list(known), limits=self.limits, progress=self.progress
        )
        for found in judged.findings:
            id_ = found.requirement.id
            if id_ in known:
                holds_with = known[id_].holds_with
                if found.outcome is Outcome.HOLDS:
                    known[id_] = Leaning(id_, (*holds_with, assumption))
                else:
                    known[id_] = Leaning(id_, holds_with, assumption, found, judged)
        return known


def old_values_of(model: Model) -> OldValues | None:
    """Which signals of a model without late ones could be; None where it has some, or none can."""
    reading = [name for name, sensor in model.sensors.items() if not sensor.is_free]
    shared, types = shared_by(model.controllers), model.input_types
    can = [n for n in reading if types[n] == BOOL and n.casefold() not in shared]
    if model.late_sensors or not can:
        return None
    return OldValues(tuple(can), tuple(name for name in reading if name not in can))


def with_old_values(model: Model, late: OldValues) -> Model:
    """The model with each of these signals up to one scan old."""
    sensors = {
        name: replace(sensor, age=1) if name in late.signals else sensor
        for name, sensor in model.sensors.items()
    }
    return replace(model, sensors=sensors)
