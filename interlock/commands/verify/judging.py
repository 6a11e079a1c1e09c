"""What a verification judges, and the exit code that it comes to."""

from __future__ import annotations

from dataclasses import dataclass

from interlock.commands.exits import EXIT_HOLDS, EXIT_VIOLATED
from interlock.commands.outcomes import exit_code
from interlock.judgement.finding import Verification
from interlock.judgement.ledger import Judge
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import Engine, Limits, ProgressSink, labelled
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


def _with_harm(result: Verification, limits: Limits, progress: ProgressSink | None) -> Verification:
    if all(len(finding.run_class.faults) == 0 for finding in result.findings):
        return result
    # Imported only here: without faults nobody waits for the diagrams' library.
    from interlock.judgement.harm import with_harm

    return with_harm(result, limits, progress)
