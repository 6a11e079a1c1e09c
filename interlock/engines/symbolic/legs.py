"""Runs along legs, as sets: for each place of the legs the states in which a run may be there.

The places of all legs stand in one row, for a leg with N scans N + 1 of them; behind its last
place comes the first of the next leg. Each place's states are closed before the next one's are
looked for, as no run goes back. For a shortest run rings grow from both ends, over all places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

from interlock.base.errors import InternalError
from interlock.engines.symbolic.chaining import Step as Taken
from interlock.engines.symbolic.chaining import chained
from interlock.engines.symbolic.forgetting import SIMPLER, may_be_done
from interlock.engines.symbolic.leading import may_come_to
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.space import Space
from interlock.kernel.evaluate import State
from interlock.kernel.query import Leg, Legs, Reach
from interlock.kernel.system import MoveKind, Stepper
from interlock.kernel.witness import Step

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

    Ring = list[Node]

_ANYWHERE = Leg()


@dataclass(frozen=True)
class _Place:
    """What it takes to go on from a place.

    Attributes
    ----------
    inside : Node
        The states from which a run goes on.
    enters : Node
        The states that begin the next place without a move.
    climbs : MoveKind or None
        What leads to the next place where it is counted: a scan, or the passing of time.
    stops : MoveKind or None
        What is counted and made no more.
    """

    inside: Node
    enters: Node
    climbs: MoveKind | None
    stops: MoveKind | None = None

    def step(self, kind: MoveKind) -> int | None:
        """How many places a move of this kind leads on; None where it is not made."""
        return None if kind is self.stops else int(kind is self.climbs)


class Walk:
    """Where runs along legs may be; looked for once somebody asks.

    Parameters
    ----------
    space : Space
        Explored.
    legs : tuple of Leg
    goes_on : bool
        Whether a run may go on with all scans of the last leg behind it.
    until : Node, optional
        States of which one is enough: no more are looked for once one is `done`.
    is_loose : bool
        Whether everything reached counts as the first leg, which may be more than there is. What
        is not `done` then is so in no run, and that costs no search from power-up.
    is_direct : bool
        Whether only states count that may still come to where the next leg begins, as far as the
        fault in force tells. No other moves may be asked after then, see `done_beyond`.
    """

    def __init__(
        self,
        space: Space,
        legs: Legs,
        goes_on: bool = True,
        until: Node | None = None,
        is_loose: bool = False,
        is_direct: bool = False,
    ) -> None:
        self._space = space
        self._legs = legs
        self._kinds = {move.name: move.kind for move in space.system.moves}
        self._until = space.diagrams.false if until is None else until
        self._is_loose, self._is_direct = is_loose, is_direct
        self._places = self._laid_out(goes_on)

    @cached_property
    def _onward(self) -> Ring:
        """For each place states among which are all from which the next leg may begin."""
        enters = [self._space.encoding.truth(leg.enter) for leg in self._legs[1:]]
        onward = [may_come_to(self._space, goal & self._space.reached) for goal in enters]
        onward.append(self._space.diagrams.true)
        by_leg = zip(self._legs, onward, strict=True)
        return [node for leg, node in by_leg for _ in range(leg.scans + 1)]

    @cached_property
    def touched(self) -> Ring:
        """For each place the states in which a run may be there."""
        found: Ring = []
        for number in range(len(self._places)):
            found.append(self._closed(number, found))
        return found

    def _laid_out(self, goes_on: bool) -> list[_Place]:
        truth, nothing = self._space.encoding.truth, self._space.diagrams.false
        places = []
        for leg, following in zip(self._legs, [*self._legs[1:], None], strict=True):
            inside = truth(leg.inside)
            enters = nothing if following is None else truth(following.enter)
            # In a short leg a place says how many scans there may have been: as many, or fewer.
            onward = self._space.diagrams.true if leg.is_short else nothing
            places += [_Place(inside, onward, climbs=leg.counted)] * leg.scans
            stops = leg.counted if leg.is_short else None
            places.append(_Place(inside, enters, climbs=None, stops=stops))
        if not goes_on:
            places[-1] = _Place(nothing, nothing, climbs=None)
        return places

    def _closed(self, number: int, known: Ring) -> Node:
        """All states in which a run may be in a place; those of the places before are known."""
        space, place = self._space, self._places[number]
        if number == 0:
            if self._is_loose:
                return space.reached
            found = space.encoding.is_state(space.system.initial)
            found = found & space.encoding.truth(self._legs[0].enter)
            if self._legs[0] == _ANYWHERE and place.inside == space.diagrams.true:
                return space.reached
        else:
            found = self._into(known[number - 1], self._places[number - 1], space.moves)
        moves, inside = self._staying(place, space.moves), place.inside
        if self._is_direct:
            onward = self._onward[number]
            found, inside = found & onward, inside & onward
        enough = space.diagrams.false
        if number == len(self._places) - 1:
            enough = self._until & space.reached
        taken = _inside_new if space.is_outrun else _inside
        steps = [taken(move, inside) for move in moves if not self._is_fault(move)]
        strikes = [taken(move, inside) for move in moves if self._is_fault(move)]
        for grown in chained([steps, strikes], found):
            if (found & enough).satisfiable():
                break
            space.check()
            found = grown
        return found & space.reached

    def _is_fault(self, move: SymbolicMove) -> bool:
        return self._kinds[move.name] is MoveKind.FAULT

    def _staying(self, place: _Place, moves: Sequence[SymbolicMove]) -> list[SymbolicMove]:
        """Those of `moves` that do not lead to the next place."""
        return [move for move in moves if place.step(self._kinds[move.name]) == 0]

    def _into(self, states: Node, place: _Place, moves: Sequence[SymbolicMove]) -> Node:
        """What leads from a place with `states` to the one behind it, by these moves."""
        going = states & place.inside
        climbing = [m.image(going) for m in moves if place.step(self._kinds[m.name]) == 1]
        return self._space.diagrams.disjunction([states & place.enters, *climbing])

    @property
    def done(self) -> Node:
        """The states of runs with all legs and scans behind them."""
        return self.touched[-1]

    def in_last_leg(self) -> list[Node]:
        """The states of runs in the last leg, by the scans of it that they have behind them.

        In a short leg these are the most that they may have.
        """
        return self.touched[len(self._places) - self._legs[-1].scans - 1 :]

    def done_beyond(self, moves: Sequence[SymbolicMove]) -> Node:
        """What `done` has more where one of other `moves` is made, as the last of a run."""
        dd = self._space.diagrams
        found = before = dd.false
        for number, (states, place) in enumerate(zip(self.touched, self._places, strict=True)):
            came = dd.false
            if number:
                last = self._places[number - 1]
                came = self._into(self.touched[number - 1], last, moves) if last.climbs else came
                came = came | before & last.enters
            made = self._staying(place, moves)
            found = dd.disjunction([came, *(m.image(states & place.inside) for m in made)])
            before = found
        return found

    def steps_to(self, target: Node) -> list[Step]:
        """A run of the fewest moves to a state of `target`, some of which are `done`."""
        return _Meeting(self._space, self._places, self.touched, self._first()).steps_to(
            target & self.done
        )

    def steps_if_any(self, target: Node) -> list[Step] | None:
        """As `steps_to`; None where no run leads there, if more is taken for reached than is."""
        meeting = _Meeting(self._space, self._places, self.touched, self._first())
        return meeting.steps_nearby(target & self.done, None)

    def steps_nearby(self, target: Node) -> list[Step] | None:
        """As `steps_to`, without looking for all states first.

        None where there is no such run, or finding it takes more than a fourth of the work that is
        spent on searching breadth first: mostly it is in vain. Needs a complete space.
        """
        anywhere = [self._space.reached] * len(self._places)
        meeting = _Meeting(self._space, self._places, anywhere, self._first())
        return meeting.steps_nearby(target, self._space.breadth_first_work // 4)

    def _first(self) -> Node:
        space = self._space
        initial = space.encoding.is_state(space.system.initial)
        return initial & space.encoding.truth(self._legs[0].enter)


def _inside(move: SymbolicMove, inside: Node) -> Taken:
    """The move, from states of `inside` alone."""

    def step(states: Node) -> Node:
        return move.image(states & inside)

    return step


def _inside_new(move: SymbolicMove, inside: Node) -> Taken:
    """As `_inside`, from states alone that were not there the last time; for sets that only grow.

    Where more than one move may come before a scan, the sets are the larger ones, see `Between`.
    """
    seen: Node | None = None

    def step(states: Node) -> Node:
        nonlocal seen
        new = states if seen is None else states & ~seen
        seen = states
        return move.image(new & inside)

    return step


def may_lead_to(space: Space, query: Reach) -> bool:
    """Whether a run along legs may end in the target; False is certain, True is not."""
    target = space.reached & space.encoding.truth(query.target)
    if not target.satisfiable():
        return False
    told = may_be_done(space, query, most_nodes=space.reached.node_count() // SIMPLER)
    return (told is None or told.satisfiable()) and leads_from_anywhere(space, query)


def leads_from_anywhere(space: Space, query: Reach) -> bool:
    """The same, where the first leg may be wherever it is: another way to be certain."""
    legs = query.along
    if len(legs) < 2 or legs[0] == _ANYWHERE:
        return True
    target = space.reached & space.encoding.truth(query.target)
    return (Walk(space, legs, until=target, is_loose=True).done & target).satisfiable()


class _Meeting:
    """Rings over all places, from both ends, until they meet."""

    def __init__(self, space: Space, places: Sequence[_Place], touched: Ring, first: Node) -> None:
        self._space, self._places, self._touched = space, places, touched
        self._dd, self._encoding = space.diagrams, space.encoding
        self._kinds = {move.name: move.kind for move in space.system.moves}
        self._of_kind = [self._kinds[m.name] for m in space.moves]
        nothing = [self._dd.false] * len(places)
        self._seen_ahead, self._seen_back = list(nothing), list(nothing)
        self._ahead: list[Ring] = [self._entered([first, *nothing[1:]])]
        self._back: list[Ring] = []
        self._stepper = Stepper(space.system)

    def steps_to(self, target: Node) -> list[Step]:
        """A run of the fewest moves to a state of `target`."""
        steps = self.steps_nearby(target, None)
        if steps is None:
            raise InternalError("symbolic: a place that was touched has no run to it")
        return steps

    def steps_nearby(self, target: Node, most_work: int | None) -> list[Step] | None:
        """As `steps_to`; None where there is none, or it takes more work than that."""
        nothing = [self._dd.false] * len(self._places)
        self._back = [self._entering([*nothing[1:], target])]
        work = 0
        while (met := self._met()) is None:
            self._space.check()
            length = len(self._ahead) + len(self._back) - 2
            self._space.budget.report("tracing", self._space.n_reached, length)
            ahead, back = _size(self._ahead[-1]), _size(self._back[-1])
            work += min(ahead, back) * len(self._space.moves)
            # On a shortest run no ring is empty before the two ends meet.
            if not ahead or not back or (most_work is not None and work > most_work):
                return None
            if ahead <= back:
                self._ahead.append(self._entered(self._moved_ahead(self._ahead[-1])))
            else:
                self._back.append(self._entering(self._moved_back(self._back[-1])))
        place, state = met
        return self._traced_back(place, state) + self._traced_ahead(place, state)

    def _met(self) -> tuple[int, State] | None:
        for place, (ahead, back) in enumerate(zip(self._ahead[-1], self._back[-1], strict=True)):
            common = ahead & back
            if common.satisfiable():
                return place, self._encoding.pick(common)
        return None

    def _entered(self, ring: Ring) -> Ring:
        """A ring, and what it enters without a move; only what is new."""
        for number, place in enumerate(self._places):
            ring[number] = ring[number] & ~self._seen_ahead[number]
            self._seen_ahead[number] = self._seen_ahead[number] | ring[number]
            if number + 1 < len(ring):
                ring[number + 1] = ring[number + 1] | ring[number] & place.enters
        return ring

    def _entering(self, ring: Ring) -> Ring:
        """A ring, and what enters it without a move; only what is new."""
        for number in reversed(range(len(self._places))):
            if number + 1 < len(ring):
                ring[number] = ring[number] | ring[number + 1] & self._places[number].enters
            new = ring[number] & self._touched[number] & ~self._seen_back[number]
            ring[number] = new
            self._seen_back[number] = self._seen_back[number] | new
        return ring

    def _moved_ahead(self, ring: Ring) -> Ring:
        found = [[] for _ in ring]  # type: list[list[Node]]
        for number, (states, place) in enumerate(zip(ring, self._places, strict=True)):
            going = states & place.inside
            if not going.satisfiable():
                continue
            for move, kind in zip(self._space.moves, self._of_kind, strict=True):
                step = place.step(kind)
                if step is not None:
                    found[number + step].append(move.image(going))
        return [self._dd.disjunction(images) for images in found]

    def _moved_back(self, ring: Ring) -> Ring:
        found = []
        for number, place in enumerate(self._places):
            images = [
                move.preimage(ring[number + step])
                for move, kind in zip(self._space.moves, self._of_kind, strict=True)
                if (step := place.step(kind)) is not None
            ]
            found.append(self._dd.disjunction(images) & place.inside)
        return found

    def _holds(self, ring: Ring, number: int, state: State) -> bool:
        return number < len(ring) and self._encoding.holds(ring[number], state)

    def _traced_ahead(self, number: int, state: State) -> list[Step]:
        """From a place and state of the last ring behind to what was looked for."""
        steps: list[Step] = []
        allowed = {move.name for move in self._space.moves}
        for ring, following in zip(self._back[::-1], self._back[-2::-1], strict=False):
            number = self._entered_alone(ring, number, state)
            place = self._places[number]
            for move, after in self._stepper.successors(state):
                step = place.step(move.kind)
                if step is None or move.name not in allowed:
                    continue
                beyond = number + step
                if self._holds(following, beyond, after):
                    steps.append(Step(move.name, after))
                    number, state = beyond, after
                    break
            else:
                raise InternalError("symbolic: a ring of places does not lead to the next")
        return steps

    def _entered_alone(self, ring: Ring, number: int, state: State) -> int:
        """The last place that `state` may enter without a move, so that it stays in the ring."""
        while self._holds(ring, number + 1, state) and self._encoding.holds(
            self._places[number].enters, state
        ):
            number += 1
        return number

    def _traced_back(self, number: int, state: State) -> list[Step]:
        """From the initial state to a place and state of the last ring ahead."""
        steps: list[Step] = []
        for ring, before in zip(self._ahead[::-1], self._ahead[-2::-1], strict=False):
            while number and self._entered_here(ring, number, state):
                number -= 1
            name, number, earlier = self._came(before, number, state)
            steps.append(Step(name, state))
            state = earlier
        return steps[::-1]

    def _entered_here(self, ring: Ring, number: int, state: State) -> bool:
        enters = self._places[number - 1].enters
        return self._holds(ring, number - 1, state) and self._encoding.holds(enters, state)

    def _came(self, ring: Ring, number: int, state: State) -> tuple[str, int, State]:
        """A move that led to a place and state from a ring: its name, and from where."""
        goal = self._encoding.is_state(state)
        for move, kind in zip(self._space.moves, self._of_kind, strict=True):
            for source in (number, number - 1):
                step = self._places[source].step(kind) if source >= 0 else None
                if step is None or source + step != number:
                    continue
                earlier = move.preimage(goal) & ring[source] & self._places[source].inside
                if earlier.satisfiable():
                    return move.name, source, self._encoding.pick(earlier)
        raise InternalError("symbolic: a ring of places does not follow from the one before")


def _size(ring: Ring) -> int:
    return sum(states.node_count() for states in ring if states.satisfiable())
