"""Any one fault: minimal sets, effects, how each shows, and whether harm was told of in time."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from interlock.base.errors import NoClusterError
from interlock.base.pool import spread
from interlock.judgement.detection import Harm
from interlock.judgement.effects import FaultEffects
from interlock.judgement.fault_sets import RequirementSets, united
from interlock.judgement.single_fault import Alone, Showing, Strike, strike_alone
from interlock.kernel.query import Limits
from interlock.kernel.requirement import Requirement
from interlock.model.model import Model

Of = TypeVar("Of")

FAULTS_TOGETHER = 8
"""So many faults share an exploration in which any one of them may strike."""


@dataclass(frozen=True)
class Explained:
    """One exploration, or several of a kind, for the record.

    Attributes
    ----------
    says : str
    n_states : int
        Of all of them together.
    n_faults : int
        That may strike in each.
    seconds : float
    limit : str or None
    """

    says: str
    n_states: int
    n_faults: int
    seconds: float
    limit: str | None


@dataclass(frozen=True)
class Singles:
    """What single faults do.

    Attributes
    ----------
    sets : mapping of str to RequirementSets
        Of at most one fault.
    effects : tuple of FaultEffects
        Of every live fault; empty where a limit was hit, like the next two.
    showings : mapping of str to Showing
        By fault; one that never shows is absent.
    harms : mapping of (str, str) to Harm
        By fault and requirement, for faults that break it alone.
    explorations : tuple of Explained
    """

    sets: Mapping[str, RequirementSets]
    effects: tuple[FaultEffects, ...]
    showings: Mapping[str, Showing]
    harms: Mapping[tuple[str, str], Harm]
    explorations: tuple[Explained, ...]


class Helpers:
    """Who strikes faults: processes of this machine, or the workers of a cluster.

    Parameters
    ----------
    n_processes : int
    scheduler : str, optional
        Address of a cluster's scheduler, in place of processes.

    Raises
    ------
    NoClusterError
        Where no scheduler answers there.
    """

    def __init__(self, n_processes: int = 1, scheduler: str | None = None) -> None:
        self._n_processes, self._cluster = n_processes, None
        if scheduler is not None:
            from interlock.base.cluster import Cluster

            self._cluster = Cluster(scheduler)

    def strike(
        self, model: Model, limits: Limits, strikes: Sequence[Strike]
    ) -> Iterator[tuple[int, Alone]]:
        """What the faults of each strike did, with its place, as they are done.

        Raises
        ------
        NoClusterError
            Where the scheduler is lost, or whoever does a strike dies again and again.
        """
        if self._cluster is None:
            work = partial(strike_alone, model, limits)
            yield from spread(work, strikes, self._n_processes)
            return
        work = partial(strike_alone, model, limits.elsewhere())
        open_ = dict(enumerate(strikes))
        for place, alone in self._cluster.spread(work, strikes, limits.until):
            strike = open_.pop(place)
            if alone is None:
                who = ", ".join(strike.faults)
                raise NoClusterError(f"the workers that struck {who} died again and again")
            yield place, alone
        # A limit was hit: what nobody has done is cut short at once.
        for place, strike in open_.items():
            yield place, strike_alone(model, limits, strike)


def study_singles(
    model: Model,
    wanted: Mapping[str, Requirement],
    added: Sequence[str],
    limits: Limits,
    helpers: Helpers,
    stage: Callable[[str, int], None],
) -> Singles:
    """Let every live fault of `model` strike alone.

    Parameters
    ----------
    model : Model
    wanted : mapping of str to Requirement
    added : sequence of str
        Faults of the model of which only the sets are asked.
    limits : Limits
        For each exploration.
    helpers : Helpers
    stage : callable
        Is told what was done last, and how many states that took since it is counted.
    """
    live = tuple(fault.id for fault in model.live_faults if fault.id not in added)
    asked = tuple(wanted)
    doing = _Doing(model, limits, helpers, stage)
    struck = doing.strike([Strike(some, asked) for some in shared(live) or [()]], len(live))
    extra = doing.strike(
        [Strike(some, asked, only_sets=True) for some in shared(added)],
        len(added),
        ", added to tell what a sensor is worth",
    )
    bound = 1 if len(live) + len(added) > 1 else None
    sets = {
        id_: united(requirement, [one.sets[id_] for one in (*struck, *extra)], bound)
        for id_, requirement in wanted.items()
    }
    if any(one.limit is not None for one in doing.explorations):
        return Singles(sets, (), {}, {}, tuple(doing.explorations))
    return Singles(
        sets=sets,
        effects=tuple(found for one in struck for found in one.effects),
        showings={id_: showing for one in struck for id_, showing in one.showings.items()},
        harms={pair: harm for one in struck for pair, harm in one.harms.items()},
        explorations=tuple(doing.explorations),
    )


def shared(faults: Sequence[Of]) -> list[tuple[Of, ...]]:
    """The faults, or what is of one each, in groups that share an exploration, in their order."""
    return [
        tuple(faults[first : first + FAULTS_TOGETHER])
        for first in range(0, len(faults), FAULTS_TOGETHER)
    ]


class _Doing:
    def __init__(
        self, model: Model, limits: Limits, helpers: Helpers, stage: Callable[[str, int], None]
    ) -> None:
        self._model = model
        self._limits = limits
        self._helpers = helpers
        self._stage = stage
        self.explorations: list[Explained] = []
        self._kept: frozenset[str] = frozenset()

    def strike(self, strikes: Sequence[Strike], n_faults: int, what: str = "") -> list[Alone]:
        """What the faults of each strike did, in order; `what` says which they are."""
        if not strikes:
            return []
        started = time.monotonic()
        found: dict[int, Alone] = {}
        for place, alone in self._struck(strikes):
            found[place] = alone
            n_states = sum(one.n_states for one in found.values())
            n_struck = sum(len(strikes[done].faults) for done in found)
            self._stage(f"each fault alone, {n_struck} of {n_faults}", n_states)
        n_states = sum(alone.n_states for alone in found.values())
        limit = next((a.limit for a in found.values() if a.limit is not None), None)
        says = f"each of {n_faults} faults alone" if n_faults > 1 else "one fault alone"
        seconds = time.monotonic() - started
        self.explorations.append(Explained(says + what, n_states, 1, seconds, limit))
        return [found[place] for place in range(len(strikes))]

    def _struck(self, strikes: Sequence[Strike]) -> Iterator[tuple[int, Alone]]:
        """What was found at each place; the first tells the others what is kept without a fault."""
        first = strike_alone(self._model, self._limits, replace(strikes[0], kept=self._kept))
        self._kept = self._kept | frozenset(
            id_ for id_, one in first.sets.items() if one.limit is None and () not in one.sets
        )
        yield 0, first
        others = [replace(strike, kept=self._kept) for strike in strikes[1:]]
        for place, alone in self._helpers.strike(self._model, self._limits, others):
            yield place + 1, alone
