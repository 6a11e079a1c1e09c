"""Worst-case reaction times of responses that have a bound.

From the event to its effect: the input filter, up to one scan in which the inputs were latched
just before, the scans that the program takes (the most that occur in any run that was explored),
and the delay of the actuator or lamp. The filter is the longest among the signals through which
the program can see the event, the delay the longest among the outputs of the response. A filter
that is an age of its signal (``age: delay``) is among the scans.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from interlock.kernel.expr import Expr, variables_of
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.requirement import Outcome, Verdict
from interlock.model.bound import Bound
from interlock.model.model import Delay, Formula, Model, Statement
from interlock.model.reading import names_behind
from interlock.st.lower import lower_program

_INPUT = "input."


@dataclass(frozen=True)
class Share:
    """The longest delay among some signals or outputs.

    Attributes
    ----------
    name : str
        Whose it is; empty where none of them has a delay in the model.
    ms : float
    source : str or None
    assumed : bool
    unknown : tuple of str
        Those that take part and have no delay in the model: counted as 0.
    """

    name: str
    ms: float
    source: str | None
    assumed: bool
    unknown: tuple[str, ...]


@dataclass(frozen=True)
class ReactionTime:
    """Where the reaction time of one requirement goes, in the worst case.

    Attributes
    ----------
    requirement, says : str
    bound : Bound
    scan_ms : int
        Period of the scan; also the wait until the event is latched, at most.
    filter, effect : Share
        Of the signals that show the event, and of the outputs that answer it.
    scans : int
        The most scans between premise and response that occur.
    in_units : bool
        Whether units of time stand for scans, of which the wait is one.
    """

    requirement: str
    says: str
    bound: Bound
    scan_ms: int
    filter: Share
    effect: Share
    scans: int
    in_units: bool = False

    @property
    def wait_ms(self) -> int:
        """How long an event waits to be latched, apart from what was counted."""
        return 0 if self.in_units else self.scan_ms

    @property
    def program_ms(self) -> float:
        """Duration of the program's scans."""
        return float(self.scans * self.scan_ms)

    @property
    def total_ms(self) -> float:
        """The whole reaction time."""
        return self.filter.ms + self.wait_ms + self.program_ms + self.effect.ms

    @property
    def exceeds(self) -> bool:
        """Whether it is longer than the time that the requirement allows."""
        return self.bound.ms is not None and self.total_ms > self.bound.ms

    @property
    def says_why(self) -> str:
        """The whole sum in one line, against what is allowed."""
        return (
            f"filter {self.filter.ms:g} ms + wait {self.wait_ms} ms + program {self.scans} × "
            f"{self.scan_ms} ms + effect {self.effect.ms:g} ms = {self.total_ms:g} ms at worst; "
            f"allowed: {self.bound.says}"
        )


class ReactionTimes:
    """Works out where the reaction time of a model's responses goes.

    Parameters
    ----------
    model : Model
    """

    def __init__(self, model: Model) -> None:
        self._model = model

    def of(self, requirement: str, verdict: Verdict) -> ReactionTime | None:
        """That of one requirement; None without a bound, or where no response ever had to come.

        Parameters
        ----------
        requirement : str
            Its id.
        verdict : Verdict
            Only of one that holds there is a worst case.
        """
        if verdict.outcome is not Outcome.HOLDS or verdict.scans is None:
            return None
        return self.after(requirement, verdict.scans)

    def after(self, requirement: str, n_scans: int) -> ReactionTime | None:
        """That of one requirement whose response takes at most `n_scans`; None without a bound.

        Where time is counted the wait and the program are, and only delays are left to be added, if
        they are: see `interlock.judgement.margin`.
        """
        statement, timing = self._model.statements.get(requirement), self._model.timing
        if statement is None or statement.within is None:
            return None
        row = PATTERNS[statement.pattern]
        is_response = row.has_bound and not row.is_timed and statement.within.ms is not None
        if timing is not None and not (timing.adds_delays and is_response):
            return None
        return _reaction_time(self._model, self._updates, statement, statement.within, n_scans)

    @cached_property
    def _updates(self) -> Mapping[str, Expr]:
        return lower_program(self._model.program, self._model.settings).updates


def _reaction_time(
    model: Model, updates: Mapping[str, Expr], statement: Statement, bound: Bound, scans: int
) -> ReactionTime:
    signals, outputs = _taking_part(model, updates, statement)
    return ReactionTime(
        requirement=statement.id,
        says=statement.says,
        bound=bound,
        scan_ms=model.settings.scan_ms if model.timing is None else model.timing.unit_ms,
        in_units=model.timing is not None,
        filter=_longest(_outside_scans(model, signals)),
        effect=_longest({name: model.outputs[name].delay for name in outputs}),
        scans=scans,
    )


def _outside_scans(model: Model, signals: Iterable[str]) -> dict[str, Delay | None]:
    """The delays of signals, but for those that are among the scans by the signal's age."""
    delays = {name: model.sensors[name].delay for name in signals}
    return {n: delay for n, delay in delays.items() if delay is None or not delay.in_scans}


def _longest(delays: Mapping[str, Delay | None]) -> Share:
    known = {name: delay for name, delay in delays.items() if delay is not None}
    unknown = tuple(name for name in delays if name not in known)
    if not known:
        return Share("", 0.0, None, False, unknown)
    name, delay = max(known.items(), key=lambda pair: pair[1].ms)
    return Share(name, delay.ms, delay.source, delay.assumed, unknown)


def _taking_part(
    model: Model, updates: Mapping[str, Expr], statement: Statement
) -> tuple[list[str], list[str]]:
    """Signals through which the program can see the event, and outputs of the response."""
    premise = _names(model, statement.p)
    response = _names(model, statement.s)
    outputs = {name for name in model.outputs if name.casefold() in response}
    if not outputs:
        outputs = {name for name in model.outputs if name.casefold() in premise}
    switching = _inputs_of(updates, outputs or model.outputs)
    machines = {name.casefold() for name in model.machines}
    event = (premise | response) & machines
    seeing = {
        name for name in switching if _names(model, model.sensors[name].reads) & event or not event
    }
    chosen = seeing or switching
    return [n for n in model.sensors if n in chosen], [n for n in model.outputs if n in outputs]


def _inputs_of(updates: Mapping[str, Expr], outputs: Iterable[str]) -> set[str]:
    """The signals that outputs depend on, now or through memory."""
    waiting, seen = list(outputs), set(outputs)
    while waiting:
        update = updates.get(waiting.pop())
        for name in variables_of([] if update is None else [update]):
            if name not in seen:
                seen.add(name)
                waiting.append(name)
    return {name.removeprefix(_INPUT) for name in seen if name.startswith(_INPUT)}


def _names(model: Model, formula: Formula | None) -> set[str]:
    return set() if formula is None else names_behind(model, formula.tree)
