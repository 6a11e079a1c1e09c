"""The ranges of a model's times in which every verdict stays as it is, found by exploring anew."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from interlock.commands.margins.quantities import Quantity, quantities_of
from interlock.commands.margins.search import Side, look
from interlock.judgement.finding import Finding, Verification
from interlock.judgement.ledger import Judge
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.query import DeclinedError, Engine, Limits, ProgressSink, labelled
from interlock.kernel.requirement import Outcome
from interlock.model.build import GENERATED
from interlock.model.model import Model

JUDGES: Mapping[str, Judge] = {"claimed": verify_claims, "none": verify}
"""How a model is judged: under as many faults as each requirement claims to survive, or none."""

Verdicts = Mapping[str, str]
"""By requirement what became of it, in a word."""


@dataclass(frozen=True)
class Range:
    """The values of a quantity around its own in which every verdict stays as it is.

    Attributes
    ----------
    quantity : Quantity
    unit_ms : int
        The step from one value that was tried to the next.
    before : mapping of str to str
        The verdicts that may depend on it, with its own value.
    down, up : Side
        What is known of lesser and of greater values.
    is_asked : bool
        Whether anything was tried before the time was over.
    is_by_margin : bool
        Whether it was told by the margin of a requirement, and nothing had to be tried.
    """

    quantity: Quantity
    unit_ms: int
    before: Verdicts
    down: Side[Verdicts]
    up: Side[Verdicts]
    is_asked: bool = True
    is_by_margin: bool = False

    @property
    def is_decided(self) -> bool:
        """Whether both edges are known."""
        return self.is_asked and self.down.is_decided and self.up.is_decided

    @property
    def least_ms(self) -> Fraction:
        """The least value that is known to do."""
        return self.quantity.value_ms - self.down.n_same * self.unit_ms

    @property
    def greatest_ms(self) -> Fraction:
        """The greatest value that is known to do."""
        return self.quantity.value_ms + self.up.n_same * self.unit_ms

    @property
    def edge_units(self) -> int | None:
        """How many units the nearest value is away that is known not to do; None without one."""
        sides = (self.down.n_other, self.up.n_other)
        return min((n for n in sides if n is not None), default=None)

    @property
    def nearness(self) -> tuple[int, Fraction]:
        """What ranges are sorted by: those with an edge first, by how far it is for the value."""
        if self.edge_units is None:
            return (1, Fraction(0))
        away = Fraction(self.edge_units * self.unit_ms)
        return (0, away / max(self.quantity.value_ms, Fraction(self.unit_ms)))


@dataclass(frozen=True)
class Margins:
    """What was found.

    Attributes
    ----------
    model : Model
    base : Verification
        Of the model as it is.
    ranges : tuple of Range
        The nearest to its edge first.
    n_explorations : int
    seconds : float
    limit : str
        What was hit before all was known, or nothing.
    """

    model: Model
    base: Verification
    ranges: tuple[Range, ...]
    n_explorations: int
    seconds: float
    limit: str = ""

    @property
    def outcome(self) -> Outcome:
        """Of the model as it is; undecided also where an edge is not known."""
        if self.base.outcome is not Outcome.HOLDS:
            return self.base.outcome
        is_decided = all(one.is_decided for one in self.ranges)
        return Outcome.HOLDS if is_decided else Outcome.UNDECIDED


def margins(
    model: Model,
    engine: Engine,
    faults: str = "none",
    only: Sequence[str] = (),
    limits: Limits = Limits(),
    progress: ProgressSink | None = None,
    times: Sequence[str] = (),
) -> Margins:
    """Find the range of each time of `model` in which every verdict stays as it is.

    Parameters
    ----------
    model : Model
        With time.
    engine : Engine
    faults : str
        A key of `JUDGES`.
    only : sequence of str
        Ids of the requirements whose verdicts count; all where empty.
    limits : Limits
        The time is for all explorations together; the rest is for each.
    progress : callable, optional
    times : sequence of str
        Names of the quantities to try; all where empty.

    Raises
    ------
    InternalError
        As for `interlock.judgement.verify.verify`.
    """
    return _Study(model, engine, faults, tuple(only), limits.from_now(), progress).margins(times)


class _Study:
    def __init__(
        self,
        model: Model,
        engine: Engine,
        faults: str,
        only: tuple[str, ...],
        limits: Limits,
        progress: ProgressSink | None,
    ) -> None:
        self._model, self._engine, self._judge = model, engine, JUDGES[faults]
        self._only, self._limits, self._progress = only, limits, progress
        self._n_explorations = 0
        self._limit = ""

    def margins(self, times: Sequence[str]) -> Margins:
        started = time.monotonic()
        base = self._verified(self._model, self._only, "as it is")
        verdicts = _verdicts(base.findings)
        if verdicts is None:
            self._limit = base.exploration.limit or "a limit"
        ranges = [
            self._range(quantity, base, verdicts)
            for quantity in quantities_of(self._model)
            if (not times or quantity.name in times) and self._counts(quantity)
        ]
        ranges.sort(key=lambda one: one.nearness)
        seconds = time.monotonic() - started
        return Margins(self._model, base, tuple(ranges), self._n_explorations, seconds, self._limit)

    def _counts(self, quantity: Quantity) -> bool:
        return not (self._only and quantity.requirement) or quantity.requirement in self._only

    def _range(self, quantity: Quantity, base: Verification, known: Verdicts | None) -> Range:
        assert self._model.timing is not None
        unit_ms = self._model.timing.unit_ms
        unknown: Side[Verdicts] = Side(0, is_decided=False)
        if known is None or self._is_over():
            return Range(quantity, unit_ms, {}, unknown, unknown, is_asked=False)
        by_margin = self._by_margin(quantity, base)
        if by_margin is not None:
            return by_margin
        counting: Verdicts = {k: v for k, v in known.items() if quantity.requirement in ("", k)}
        down, up = (
            look(counting, self._at(quantity, sign), n_most)
            for sign, n_most in ((-1, quantity.n_down), (1, quantity.n_up))
        )
        return Range(quantity, unit_ms, counting, down, up)

    def _by_margin(self, quantity: Quantity, base: Verification) -> Range | None:
        """The range of the bound of a requirement that holds: its margin says where its edge is.

        A sharper bound is missed by the very run that takes so long, and a milder one by none.
        """
        found = {f.requirement.id: f for f in base.findings}.get(quantity.requirement)
        if found is None or found.margin is None or found.margin.is_beyond:
            return None
        if found.outcome is not Outcome.HOLDS:
            return None
        assert self._model.timing is not None
        unit_ms = self._model.timing.unit_ms
        is_least = PATTERNS[found.requirement.pattern].is_least
        away = abs(quantity.value_ms - found.margin.taken_ms)
        n_same = int(away // unit_ms)
        kept, lost = ({found.requirement.id: o.value} for o in (Outcome.HOLDS, Outcome.VIOLATED))
        ends = n_same == quantity.n_down and not is_least
        edge: Side[Verdicts] = (
            Side(n_same, is_each_tried=True)
            if ends
            else Side(n_same, n_same + 1, lost, is_each_tried=True)
        )
        n_free = quantity.n_down if is_least else quantity.n_up
        free: Side[Verdicts] = Side(n_free, is_each_tried=True)
        sides = (free, edge) if is_least else (edge, free)
        return Range(quantity, unit_ms, kept, *sides, is_by_margin=True)

    def _at(self, quantity: Quantity, sign: int) -> Callable[[int], Verdicts | None]:
        assert self._model.timing is not None
        unit_ms = self._model.timing.unit_ms
        only = (quantity.requirement,) if quantity.requirement else self._only

        def at(steps: int) -> Verdicts | None:
            if self._is_over():
                return None
            ms = quantity.value_ms + sign * steps * unit_ms
            said = f"{quantity.name} {float(ms) / 1000:g} s"
            try:
                found = self._verified(quantity.other(ms), only, said)
            except DeclinedError as reason:
                self._limit = self._limit or f"declined, {reason}"
                return None
            verdicts = _verdicts(found.findings)
            if verdicts is None:
                self._limit = self._limit or found.exploration.limit or "a limit"
                return None
            return {k: v for k, v in verdicts.items() if quantity.requirement in ("", k)}

        return at

    def _verified(self, model: Model, only: Sequence[str], said: str) -> Verification:
        self._n_explorations += 1
        limits = self._limits
        if limits.until is not None:
            left = max(0.0, limits.until - time.monotonic())
            limits = replace(limits, max_seconds=left)
        progress = labelled(self._progress, said)
        return self._judge(model, self._engine, only=only, limits=limits, progress=progress)

    def _is_over(self) -> bool:
        until = self._limits.until
        if until is None or time.monotonic() < until:
            return False
        self._limit = f"seconds {self._limits.max_seconds:g}"
        return True


def _verdicts(findings: Sequence[Finding]) -> Verdicts | None:
    """The verdicts by requirement; None where a limit leaves one of them open."""
    if any(finding.verdict.limit is not None for finding in findings):
        return None
    # What interlock adds by itself may not be asked at all where it is sure to hold.
    return {
        finding.requirement.id: finding.says
        for finding in findings
        if finding.requirement.id not in GENERATED or finding.outcome is not Outcome.HOLDS
    }
