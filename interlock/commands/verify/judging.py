"""What a verification judges, and the exit code that it comes to."""

from __future__ import annotations

from dataclasses import dataclass, replace

from interlock.commands.exits import EXIT_HOLDS, EXIT_VIOLATED
from interlock.commands.outcomes import exit_code
from interlock.judgement.finding import Verification
from interlock.judgement.ledger import Judge
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import Engine, Limits, ProgressSink, labelled
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model
from interlock.oversights.found import Looked
from interlock.oversights.study import look, questions_for

JUDGES: dict[str, Judge] = {"claimed": verify_claims, "none": verify}


@dataclass(frozen=True)
class Judged:
    """The verdicts on a model, and what is worth a look besides.

    Attributes
    ----------
    result : Verification
    looked : Looked
    strict : bool
        Whether anything that is worth a look decides the exit code, too.
    """

    result: Verification
    looked: Looked
    strict: bool = False

    @property
    def by_strict(self) -> bool:
        """Whether it ends with 1 for what is worth a look alone."""
        return self.strict and exit_code(self.result) == EXIT_HOLDS and bool(self.looked.oversights)

    @property
    def code(self) -> int:
        """The exit code."""
        return EXIT_VIOLATED if self.by_strict else exit_code(self.result)


def judge(
    model: Model,
    engine: Engine,
    faults: str,
    only: tuple[str, ...] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    strict: bool = False,
) -> Judged:
    """Judge `model`.

    Parameters
    ----------
    model : Model
    engine : Engine
    faults : str
        A key of `JUDGES`.
    only : tuple of str
        Ids of requirements; all where empty.
    limits : Limits
    progress : callable, optional
    strict : bool
    """
    asked = questions_for(model).queries
    result = JUDGES[faults](
        model, engine, only=only, limits=limits, progress=progress, beside=asked
    )
    cut = result.exploration.limit
    looked = look(model, result.beside, cut, engine, limits, labelled(progress, "worth a look"))
    return Judged(_with_harm(result, limits, progress), looked, strict)


def judge_with_less_memory(
    model: Model,
    engine: Engine,
    faults: str,
    only: tuple[str, ...] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    strict: bool = False,
) -> Judged:
    """As `judge`; where states are too many, the program is asked that has to remember less.

    That one does more than the program, so what it is seen to do may be nothing that the program
    does. It is told only if less stays undecided so.
    """
    is_timed = limits.max_seconds is not None
    coarse = _with_less_memory(model) if is_timed else None
    if is_timed and coarse is None:
        return judge(model, engine, faults, only, limits, progress, strict)
    first_limits = limits
    if limits.max_seconds is not None:
        first_limits = replace(limits, max_seconds=limits.max_seconds / 2).from_now()
    first = judge(model, engine, faults, only, first_limits, progress, strict)
    if not _is_cut_short(first):
        return first
    coarse = coarse or _with_less_memory(model)
    if coarse is None:
        return first
    second = judge(coarse, engine, faults, only, limits, progress, strict)
    return min((first, second), key=_n_undecided)


def _with_less_memory(model: Model) -> Model | None:
    """The model whose program remembers less, None where it would remember as much."""
    if model.several:
        return None
    coarse = load(model.folder, joins_counts=True).assuming(model.between_scans)
    return None if coarse.program == model.program else coarse


def _is_cut_short(judged: Judged) -> bool:
    """Whether a limit left something open; of what is doubted no more can be said anyway."""
    verdicts = [finding.verdict for finding in judged.result.findings]
    return any(v.outcome is Outcome.UNDECIDED and not v.doubt for v in verdicts)


def _n_undecided(judged: Judged) -> int:
    return sum(f.verdict.outcome is Outcome.UNDECIDED for f in judged.result.findings)


def _with_harm(result: Verification, limits: Limits, progress: ProgressSink | None) -> Verification:
    if all(len(finding.run_class.faults) == 0 for finding in result.findings):
        return result
    # Imported only here: without faults nobody waits for the diagrams' library.
    from interlock.judgement.harm import with_harm

    return with_harm(result, limits, progress)
