"""The door to the solver z3."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass, replace
from enum import Enum
from functools import partial

from interlock.base.errors import InputError, InternalError, Mistake, Place
from interlock.base.pool import spread
from interlock.evidence.script import CLOSING, Group, Obligation, Script, opening, show

# z3's solver for finite domains turns bit vectors into clauses at once and takes obligations one
# after the other; measured on the demo vehicle it is a little faster than the one for QF_BV.
_LOGIC = ("(set-logic QF_BV)", "(set-logic QF_FD)")
_PARTS_A_PROCESS = 8  # each is told the system anew, which takes a second for the largest


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
    n_processes: int = 1,
) -> Iterator[Discharge]:
    """Ask the solver for each obligation of `script`, in order.

    Parameters
    ----------
    script : Script
    max_seconds : float, optional
        For each obligation.
    progress : callable, optional
        Called with the name of each obligation before it is asked, or with how many parts of the
        script are done.
    n_processes : int
        Processes to use where there is much to ask.

    Raises
    ------
    InternalError
        If the solver does not understand the script, or a process was killed.
    """
    head = script.system.replace(*_LOGIC) + script.sets
    if n_processes == 1:
        yield from _asked(head, max_seconds, script.groups, progress)
        return
    parts = _parts(script, n_processes * _PARTS_A_PROCESS)
    found: dict[int, list[Discharge]] = {}
    try:
        for place, done in spread(partial(_all_asked, head, max_seconds), parts, n_processes):
            found[place] = done
            if progress is not None:
                progress(f"{len(found)} of {len(parts)} parts")
    except BrokenProcessPool:
        raise InternalError("recheck: a process of the solver was killed; with -j 1?") from None
    for place in range(len(parts)):
        yield from found[place]


def _parts(script: Script, n_parts: int) -> list[list[Group]]:
    """The script in at least so many parts of about the same length, where it is long enough."""
    most = max(1, sum(len(group.obligations) for group in script.groups) // n_parts)
    parts: list[list[Group]] = [[]]
    room = most
    for group in script.groups:
        rest = group.obligations
        while rest:
            if not room:
                parts.append([])
                room = most
            parts[-1].append(replace(group, obligations=rest[:room]))
            room, rest = room - len(rest[:room]), rest[room:]
    return parts


def _all_asked(head: str, max_seconds: float | None, groups: Sequence[Group]) -> list[Discharge]:
    return list(_asked(head, max_seconds, groups, None))


def _asked(
    head: str,
    max_seconds: float | None,
    groups: Sequence[Group],
    progress: Callable[[str], None] | None,
) -> Iterator[Discharge]:
    session = _Session(head, max_seconds)
    for group in groups:
        session.tell(opening(group))
        for obligation in group.obligations:
            if progress is not None:
                progress(obligation.name)
            started = time.monotonic()
            result = session.ask(obligation)
            yield Discharge(obligation, result, time.monotonic() - started)
            if result is Result.UNDECIDED:
                # It gave up somewhere: nothing half done may be left for what comes next.
                session = _Session(head, max_seconds)
                session.tell(opening(group))
        session.tell(CLOSING)


class _Session:
    """A solver that has been told a system and its sets."""

    def __init__(self, head: str, max_seconds: float | None) -> None:
        import z3

        self._evaluate = z3.Z3_eval_smtlib2_string
        self._error = z3.Z3Exception
        self._context = z3.Context()
        if max_seconds is not None:
            # The option of the script; a parameter of the context of this name has no effect.
            self.tell(f"(set-option :timeout {max(1, int(max_seconds * 1000))})")
        self.tell(head)

    def _said(self, text: str) -> str:
        try:
            return str(self._evaluate(self._context.ref(), text)).strip()
        except self._error as error:
            return str(error).strip()

    def tell(self, text: str) -> None:
        """Commands that the solver must take without a word; else what follows means nothing."""
        answer = self._said(text)
        if answer:
            raise InternalError(f"recheck: the solver does not understand: {answer[:200]}")

    def ask(self, obligation: Obligation) -> Result:
        """What the solver says of one obligation."""
        answer = self._said(show(obligation))
        if answer in _RESULTS:
            return _RESULTS[answer]
        # Running out of time may be told in other words.
        if "timeout" in answer or "canceled" in answer:
            return Result.UNDECIDED
        raise InternalError(f"recheck: {obligation.name}: the solver says {answer[:200]}")


_RESULTS = {
    "unsat": Result.DISCHARGED,
    "sat": Result.REFUTED,
    "unknown": Result.UNDECIDED,
}
