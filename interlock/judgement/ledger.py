"""Which verdicts lean on what is assumed between two scans, and what shows that they do.

A verdict 'holds' is asked again under each weaker assumption in turn, until it falls. All runs of
the stronger assumption are runs of the weaker one, so what is violated by a run stays violated
under all that is weaker still; only what can always still happen may come to hold again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from interlock.judgement.finding import Finding, Verification
from interlock.kernel.query import Engine, Limits, ProgressSink, labelled
from interlock.kernel.requirement import Outcome
from interlock.model.between import BetweenScans

Judge = Callable[..., Verification]


@dataclass(frozen=True)
class Leaning:
    """What became of one requirement that holds, under the weaker assumptions.

    Attributes
    ----------
    requirement : str
    holds_with : tuple of BetweenScans
        Where it holds as well, from the next weaker assumption on.
    falls_with : BetweenScans or None
        The first weaker assumption under which it does not hold.
    found : Finding or None
        What was found there: a violation with its run, or that it is undecided and why.
    judged : Verification or None
        The verification under `falls_with`.
    """

    requirement: str
    holds_with: tuple[BetweenScans, ...]
    falls_with: BetweenScans | None = None
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
    """

    rests_on: BetweenScans
    asked: tuple[BetweenScans, ...]
    leanings: tuple[Leaning, ...]


def find_ledger(
    verification: Verification,
    judge: Judge,
    engine: Engine,
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
) -> Ledger:
    """Ask what holds again under every weaker assumption.

    Parameters
    ----------
    verification : Verification
    judge : callable
        `interlock.judgement.verify.verify_claims`, or `verify` where no faults were asked for.
    engine : Engine
    limits : Limits
        For each exploration.
    progress : callable, optional
    """
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
        sink = labelled(progress, str(between))
        judged = judge(model.assuming(between), engine, only=ids, limits=limits, progress=sink)
        for found in judged.findings:
            id_ = found.requirement.id
            if id_ not in ids:
                continue
            holds_with = known[id_].holds_with
            if found.outcome is Outcome.HOLDS:
                known[id_] = Leaning(id_, (*holds_with, between))
            else:
                known[id_] = Leaning(id_, holds_with, between, found, judged)
    return Ledger(model.between_scans, tuple(asked), tuple(known.values()))
