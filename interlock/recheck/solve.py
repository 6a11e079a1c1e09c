"""The door to the solver z3."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum

from interlock.base.errors import InputError, InternalError, Mistake, Place
from interlock.recheck.script import CLOSING, Obligation, Script, opening, show

# z3's solver for finite domains turns bit vectors into clauses at once and takes obligations one
# after the other; measured on the demo vehicle it is a little faster than the one for QF_BV.
_LOGIC = ("(set-logic QF_BV)", "(set-logic QF_FD)")


class Result(Enum):
    """What became of an obligation."""

    DISCHARGED = "discharged"
    REFUTED = "refuted"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Discharge:
    """An obligation and what the solver says of it; `seconds` is wall time."""

    obligation: Obligation
    result: Result
    seconds: float


def need_solver() -> str:
    """The solver's version.

    Raises
    ------
    InputError
        Where it is not installed.
    """
    try:
        import z3
    except ImportError:
        says = "z3 is not installed; it comes with: pip install 'interlock[recheck]'"
        raise InputError([Mistake(Place("recheck", 1, 1), says)]) from None
    return str(z3.get_version_string())


def discharge(
    script: Script,
    max_seconds: float | None = None,
    progress: Callable[[str], None] | None = None,
) -> Iterator[Discharge]:
    """Ask the solver for each obligation of `script`, in order.

    Parameters
    ----------
    script : Script
    max_seconds : float, optional
        For each obligation.
    progress : callable, optional
        Called with the name of each obligation before it is asked.

    Raises
    ------
    InternalError
        If the solver does not understand the script.
    """
    import z3

    context = z3.Context()
    if max_seconds is not None:
        z3.Z3_update_param_value(context.ref(), "timeout", str(max(1, int(max_seconds * 1000))))

    def said(text: str) -> str:
        return str(z3.Z3_eval_smtlib2_string(context.ref(), text)).strip()

    answer = said(script.system.replace(*_LOGIC) + script.sets)
    if answer:
        raise InternalError(f"recheck: the solver does not understand the script: {answer[:200]}")
    for group in script.groups:
        said(opening(group))
        for obligation in group.obligations:
            if progress is not None:
                progress(obligation.name)
            started = time.monotonic()
            result = _result(obligation, said(show(obligation)))
            yield Discharge(obligation, result, time.monotonic() - started)
        said(CLOSING)


_RESULTS = {
    "unsat": Result.DISCHARGED,
    "sat": Result.REFUTED,
    "unknown": Result.UNDECIDED,
}


def _result(obligation: Obligation, answer: str) -> Result:
    if answer in _RESULTS:
        return _RESULTS[answer]
    # Running out of time may be told in other words.
    if "timeout" in answer or "canceled" in answer:
        return Result.UNDECIDED
    raise InternalError(f"recheck: {obligation.name}: the solver says {answer[:200]}")
