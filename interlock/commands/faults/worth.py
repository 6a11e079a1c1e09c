"""The sets of faults on which it rests what a sensor is worth, where any number of them may strike.

A sensor that is removed takes the place of one fault, a merged pair that of none. So where one
fault breaks a requirement already, only a fault of the sensor alone can cost it anything, and where
none is needed, nothing can. Only what survives every single fault is asked with any number of the
model's own faults beside those of the sensor. All sensors share that exploration, since no faults
of two of them are ever asked for in one run: what goes before one strikes is searched once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property

from interlock.commands.faults.tolerance import by_change
from interlock.judgement.fault_sets import (
    Asked,
    RequirementSets,
    ask_all,
    find_sets,
    flags_of,
    sets_of_all,
    united,
)
from interlock.kernel.projected import Projected
from interlock.model.build import Built, RunClass, build
from interlock.model.model import Model

Explore = Callable[[Built, Asked, Mapping[str, str], str], Projected]
"""Explores what is asked of a built model, with fault ids by flag; told what for."""

_ALONE = " of those added to tell what a sensor is worth"
_BESIDE = " beside one added to tell what a sensor is worth"


class Worth:
    """Finds the sets for one change of sensors after the other.

    Parameters
    ----------
    model : Model
        With the faults that are added to tell what a sensor is worth.
    known : mapping of str to RequirementSets
        The sets of the model's own faults, by requirement.
    added : set of str
        Which faults those are.
    explore : callable
    """

    def __init__(
        self,
        model: Model,
        known: Mapping[str, RequirementSets],
        added: frozenset[str],
        explore: Explore,
    ) -> None:
        self._model = model
        self._known = known
        self._added = added
        self._explore = explore
        common = {fault.id for fault in model.live_faults if fault.common_cause}
        self._own = frozenset(f.id for f in model.live_faults) - added - common
        least = {id_: found.without(common).least for id_, found in known.items()}
        cut_short = {id_ for id_, found in known.items() if found.limit is not None}
        self._lost_to_one = [id_ for id_, n in least.items() if n == 1 and id_ not in cut_short]
        self._lasting = [id_ for id_, n in least.items() if n not in (0, 1) or id_ in cut_short]

    def sets_with(self, more: frozenset[str]) -> Mapping[str, RequirementSets]:
        """The sets of the own faults and `more`, as far as these can cost a requirement anything.

        Parameters
        ----------
        more : frozenset of str
            The faults of one sensor, or of a pair, that are not the model's own.
        """
        return {**self._known, **self._with_one(more), **self._with_any(more)}

    def _with_one(self, more: frozenset[str]) -> dict[str, RequirementSets]:
        found = {}
        for id_, alone in self._alone.items():
            parts = [self._known[id_], alone.without(self._model.faults.keys() - more)]
            found[id_] = united(alone.requirement, parts, self._known[id_].bound)
        return found

    @cached_property
    def _alone(self) -> Mapping[str, RequirementSets]:
        """For what one fault breaks already: which other faults break it alone."""
        asked_for = frozenset[str]().union(*self._groups)
        faults = tuple(id_ for id_ in self._model.faults if id_ in asked_for)
        if not self._lost_to_one:
            return {}
        built = build(self._model, RunClass(faults, 1))
        return sets_of_all(
            built,
            [built.requirements[id_] for id_ in self._lost_to_one],
            lambda asked, ids: self._explore(built, asked, ids, _ALONE),
        )

    def _with_any(self, more: frozenset[str]) -> dict[str, RequirementSets]:
        if not self._lasting:
            return {}
        built, asked, explored = self._together
        if explored.limit is not None:
            # Fewer faults at a time may be within the limits.
            built, asked, explored = self._explored([more])
        return find_sets(built, explored, asked, flags_of(self._model, self._in_order(more)))

    @cached_property
    def _together(self) -> tuple[Built, Asked, Projected]:
        return self._explored(self._groups)

    @cached_property
    def _groups(self) -> list[frozenset[str]]:
        """The faults of each change that are not the model's own, where some had to be added."""
        groups = (faults - self._own for faults in by_change(self._model).values())
        return [group for group in groups if group & self._added]

    def _explored(self, groups: Iterable[frozenset[str]]) -> tuple[Built, Asked, Projected]:
        groups = list(groups)
        faults = self._in_order(frozenset[str]().union(*groups))
        run_class = RunClass(faults, None, apart=self._apart(groups))
        built = build(self._model, run_class)
        asked = ask_all(built.system, [built.requirements[id_] for id_ in self._lasting])
        ids = flags_of(self._model, faults)
        return built, asked, self._explore(built, asked, ids, _BESIDE)

    def _apart(self, groups: Iterable[frozenset[str]]) -> tuple[tuple[str, ...], ...]:
        """Which faults never strike in one run with those of other groups."""
        found: list[tuple[str, ...]] = []
        for group in groups:
            in_order = tuple(id_ for id_ in self._model.faults if id_ in group)
            is_pair = any(len(self._model.faults[id_].sensors) > 1 for id_ in group)
            # A removed sensor has one value: no set with two of its faults is asked for.
            found += [in_order] if is_pair else [(id_,) for id_ in in_order]
        return tuple(found)

    def _in_order(self, more: frozenset[str]) -> tuple[str, ...]:
        return tuple(id_ for id_ in self._model.faults if id_ in self._own or id_ in more)
