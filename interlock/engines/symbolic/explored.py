"""One exploration, kept, that answers many questions about which flags go with what.

The engine's contract is one list of queries for one exploration. A study of faults asks in
rounds, and most of its questions are of one kind: with which combinations of a few variables
does something occur? They are answered here by forgetting everything else first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import replace
from functools import cached_property
from typing import TYPE_CHECKING, TypeVar

from interlock.engines.budget import NO_LIMITS, Budget
from interlock.engines.symbolic.cutsets import check_flags
from interlock.engines.symbolic.diagrams import DEFAULT_BYTES
from interlock.engines.symbolic.exclusive import merged
from interlock.engines.symbolic.forgetting import SIMPLER, may_be_done
from interlock.engines.symbolic.legs import Walk, leads_from_anywhere
from interlock.engines.symbolic.loops import FairLoops
from interlock.engines.symbolic.moves import SymbolicMove
from interlock.engines.symbolic.parts import only_where, reached_where
from interlock.engines.symbolic.paths import Paths
from interlock.engines.symbolic.projection import Projection
from interlock.engines.symbolic.settled import WaysBack
from interlock.engines.symbolic.space import LimitError, Space
from interlock.kernel.expr import Expr, and_, var
from interlock.kernel.projected import MOST_SETS, CutSets
from interlock.kernel.query import Limits, ProgressSink, Query, Reach, Stay, Trap
from interlock.kernel.system import System
from interlock.kernel.witness import Witness

if TYPE_CHECKING:
    from interlock.engines.symbolic.diagrams import Node

_Asked = TypeVar("_Asked")

_MOST_NOTED = 64
"""Sets of faults of which what follows a state is kept: of many faults together there are too many,
and what is not kept is only looked at anew."""


class Explored:
    """Everything reachable in a system, explored when built, up to the limits.

    Parameters
    ----------
    system : System
    flags : sequence of str
        Variables that moves only ever set; they tell which faults have struck.
    limits : Limits
    progress : callable, optional

    Attributes
    ----------
    n_states : int
        Reachable states, so far where a limit was hit.
    limit : str or None
        The limit that was hit; then there are no answers.

    Raises
    ------
    DeclinedError
        If a flag may go back to 0, or the symbolic engine cannot take the system.
    """

    def __init__(
        self,
        system: System,
        flags: Sequence[str],
        limits: Limits = NO_LIMITS,
        progress: ProgressSink | None = None,
    ) -> None:
        check_flags(system, flags)
        self._merged = merged(system)
        self._own = system
        self.system = system if self._merged is None else self._merged.system
        self.flags = tuple(flags)
        self._budget = Budget(limits, progress)
        self._space: Space | None = None
        self._violating: dict[Query, Node] = {}
        # For a goal which values of flags were looked at, and the traps under them.
        self._traps: dict[Expr, tuple[Node, Node]] = {}
        self._may_be_set = self.flags
        # By flags, the same with no other ever set.
        self._with: dict[tuple[str, ...], Explored] = {}
        self._all: Explored | None = None
        # Of a part, where no flag is set that it leaves out.
        self._among: Node | None = None
        # The moves out of a part, each only where it leads out.
        self._leading_out: tuple[SymbolicMove, ...] = ()
        # Of a part where moves are allowed and where they are made, until it is looked for.
        self._to_reach: tuple[dict[str, Node], dict[str, Node]] | None = None
        self.n_states = 1
        try:
            # Rings are for runs; what is asked here needs only the set.
            self._space = Space(self.system, self._budget, breadth_first_work=0)
            self._space.explore()
        except LimitError:
            pass
        except MemoryError:
            self._note_memory()
        if self._space is not None:
            self.n_states = self._space.n_reached

    @property
    def limit(self) -> str | None:
        """The limit that was hit, in the exploration or in an answer since."""
        return self._budget.limit

    @property
    def seconds(self) -> float:
        """Wall time since the exploration began."""
        return self._budget.seconds

    def _note_memory(self) -> None:
        most = self._budget.limits.max_bytes
        self._budget.limit = self._budget.limit or (
            f"bytes {DEFAULT_BYTES if most is None else most:,}"
        )

    def minimal_sets(
        self, *queries: Query, most_sets: int = MOST_SETS, among: Sequence[str] | None = None
    ) -> CutSets:
        """The minimal sets of flags with which one of `queries` is found.

        For `Stay` they are those set where the endless part of the run begins; for `Trap`
        in the state from which there is no way. Where faults are bounded in the system, so are
        the sets. Where some flags are given, only sets of these are looked for.
        """
        before = self._budget.seconds
        try:
            dd, seen = self._whole().diagrams, self._seen
            among = self.flags if among is None else among
            unset = seen.unset(flag for flag in self.flags if flag not in among)
            found = [self._flags_of(self._asked(query)) & unset for query in queries]
            enough = dd.disjunction([seen.forgotten(states, among) for states in found])
            sets, counts = seen.minimal_sets(enough, among, most_sets)
            return CutSets(sets, counts, None, self._budget.seconds - before, dd.n_bytes)
        except LimitError:
            pass
        except MemoryError:
            self._note_memory()
        return CutSets((), (), self.limit, self._budget.seconds - before, 0)

    def occurring(
        self, query: Query, names: Sequence[str] | None = None
    ) -> tuple[tuple[int, ...], ...] | None:
        """Which values some variables take together where `query` is found.

        Parameters
        ----------
        query : Query
            `Reach` for the states with its target; `Stay`, `Trap` as for `minimal_sets`.
        names : sequence of str, optional
            The variables; the flags where not given.

        Returns
        -------
        tuple of tuple of int, or None
            Combinations, sorted; None where a limit was hit.
        """
        names = self.flags if names is None else names
        try:
            asked = self._asked(query)
            only_flags = set(names) <= set(self.flags)
            found = self._flags_of(asked) if only_flags else self._violations(asked)
            return self._seen.rows(found, names)
        except LimitError:
            return None
        except MemoryError:
            self._note_memory()
            return None

    def nearest(self, target: Expr) -> Witness | None:
        """A run of the fewest moves to a state with `target`.

        Returns
        -------
        Witness or None
            None where there is no such run, or a limit was hit before a shortest was found.
        """
        try:
            space = self._whole()
            steps = Paths(space).to_nearest(space.encoding.truth(self._asked(target)))
        except LimitError:
            return None
        except MemoryError:
            self._note_memory()
            return None
        if steps is None:
            return None
        run = Witness(space.system.initial, tuple(steps))
        return run if self._merged is None else self._merged.run(run)

    def _whole(self) -> Space:
        space = self._any_space()
        if self._to_reach is not None:
            assert self._all is not None
            assert self._among is not None
            space.reached, space.chained = reached_where(
                self._all._whole(), *self._to_reach, self._all._seen.unset(self.flags), self._among
            )
            self._to_reach = None
        return space

    def _any_space(self) -> Space:
        """The space; of a part maybe not yet with what is reached."""
        if self._space is None or not self._space.is_complete:
            raise LimitError
        return self._space

    def _asked(self, asked: _Asked) -> _Asked:
        """A query or an expression over the variables that were explored."""
        return asked if self._merged is None else self._merged.asked(asked)

    @cached_property
    def _seen(self) -> Projection:
        return Projection(self._whole().encoding, self._merged)

    def _flags_of(self, query: Query) -> Node:
        """A set in which the flags take the values together with which a query is found."""
        if isinstance(query, Trap) and self._on_the_whole._ways_back_keep_flags:
            return self._trapped(query.goal)
        return self._violations(query)

    @property
    def _on_the_whole(self) -> Explored:
        """What this is a part of, or itself: ways on may leave a part."""
        return self if self._all is None else self._all._on_the_whole

    def _trapped(self, goal: Expr) -> Node:
        """As `_flags_of`, for states from which no way leads to `goal`.

        What follows a home without any way to it, or another trap, tells of most flags; only states
        under the others are looked at one and all.
        """
        whole = self._on_the_whole
        here = self._whole().reached | self._edge
        found = whole._ways_back.lost(goal) & here
        left = self._flags_here & ~self._seen.forgotten(found, self.flags)
        if not left.satisfiable():
            return found
        more = whole._traps_under(goal, left) & here
        known = more & whole._ways_back.settled
        whole._ways_back.note(self._seen.one_of_each(known, self.flags, _MOST_NOTED))
        return found | more

    def _traps_under(self, goal: Expr, flags: Node) -> Node:
        """The states from which no way leads to `goal`, with at least these values of flags."""
        nothing = self._whole().diagrams.false
        known, traps = self._traps.get(goal, (nothing, nothing))
        left = flags & ~known
        if left.satisfiable():
            doubtful, able = self._ways_back.doubtful(goal, left)
            onward = self._whole().onward()
            traps = traps | doubtful & ~onward.closure_before(able, doubtful)
            self._traps[goal] = (known | left, traps)
        return traps

    @cached_property
    def _flags_here(self) -> Node:
        """The values that the flags take together."""
        return self._seen.forgotten(self._whole().reached | self._edge, self.flags)

    @cached_property
    def _ways_back_keep_flags(self) -> bool:
        return self._ways_back.lasts(self._seen.bits_of(self.flags))

    def _violations(self, query: Query) -> Node:
        if query not in self._violating:
            self._violating[query] = self._find(query)
        return self._violating[query]

    def _find(self, query: Query) -> Node:
        if isinstance(query, Stay):
            return self._lasting(query)
        space = self._whole()
        match query:
            case Reach(target, ()):
                return (space.reached | self._edge) & space.encoding.truth(target)
            case Reach():
                return self._along(space, query)
            case Trap(goal):
                if self._all is not None:
                    return self._all._violations(query) & (space.reached | self._edge)
                return self._traps_under(goal, space.diagrams.true)
            case _:
                raise TypeError(f"{type(query).__name__} is never found")

    def _along(self, space: Space, query: Reach) -> Node:
        """Where runs along legs end in the target, one move beyond a part included."""
        around = copy(space)
        around.reached = space.reached | self._edge
        around.moves = self._on_the_whole._whole().moves
        found = may_be_done(
            around, query, self._seen.bits_of(self.flags), around.reached.node_count() // SIMPLER
        )
        if found is not None:
            if not found.satisfiable():
                return found
            with_these = tuple(flag for flag in self._may_be_set if self._seen.has(found, flag))
            if not self._leading_out and len(with_these) < len(self._may_be_set):
                return self._only_with(with_these)._violations(query)
        if not self._leading_out and not leads_from_anywhere(space, query):
            return space.diagrams.false
        walk = Walk(space, query.along)
        wanted = space.encoding.truth(query.target)
        return wanted & (walk.done | walk.done_beyond(self._leading_out))

    def _only_with(self, flags: tuple[str, ...]) -> Explored:
        if flags not in self._with:
            self._with[flags] = self._part({}, flags)
        return self._with[flags]

    def _lasting(self, query: Stay) -> Node:
        """Where fair endless runs go on for ever that stay from a start on."""
        known: Node | None = None
        if self._all is not None and self._among is not None:
            # What goes on for ever in a part does so in all. Mostly nothing is left of that with
            # the moves of the part, and then it need not be known what the part reaches.
            known = FairLoops(self._tame, self._all._violations(query) & self._among).core
            if not known.satisfiable():
                return known
        space = self._whole()
        starts = Walk(space, query.along).done if query.along else None
        _, within = space.lasting(query.start, query.stay, starts)
        return FairLoops(self._tame, within if known is None else within & known).core

    def part(
        self, allowed: Mapping[str, Expr], among: Sequence[str] | None = None
    ) -> Explored | None:
        """As much as is reached by moves that are made only where they are allowed.

        Every endless run of the part keeps to it as well; whether something can still be reached
        is asked of the whole. What is asked of single states is asked of those, too, that one
        move beyond leads to: there the run leaves the part. It is looked for once a question
        needs it.

        Parameters
        ----------
        allowed : mapping of str to Expr
            By move; all others are allowed.
        among : sequence of str, optional
            Flags; what sets another is not in the part, nor beyond.

        Returns
        -------
        Explored or None
            None where a limit was hit.
        """
        try:
            return self._part(allowed, self.flags if among is None else among)
        except LimitError:
            return None
        except MemoryError:
            self._note_memory()
            return None

    def _part(self, allowed: Mapping[str, Expr], among: Sequence[str]) -> Explored:
        whole = self._whole()
        truth = whole.encoding.truth
        where = {name: truth(self._asked(expr)) for name, expr in allowed.items()}
        # A flag is only ever set: what sets another one is not made at all.
        others = [flag for flag in self.flags if flag not in among]
        shut_off = {m.name for m in self._own.moves if not m.updates.keys().isdisjoint(others)}
        made = {**where, **dict.fromkeys(shut_off, whole.diagrams.false)}
        new = copy(self)
        for kept in ("_tame", "_flags_here", "_edge"):
            new.__dict__.pop(kept, None)
        new._violating, new._with = {}, {}
        new._all = self
        new._may_be_set = tuple(flag for flag in self._may_be_set if flag in among)
        new._among = self._seen.unset(others)
        new._space = copy(whole)
        new._space.moves = only_where(made, whole.moves)
        new._space.forget_rings()
        new._leading_out = tuple(
            move.restricted(~where[move.name])
            for move in whole.moves
            if move.name in where and move.name not in shut_off
        )
        new._to_reach = (where, made)
        return new

    @cached_property
    def _edge(self) -> Node:
        """What one move beyond a part leads to; nothing of the whole."""
        space = self._whole()
        return space.diagrams.disjunction(m.image(space.reached) for m in self._leading_out)

    @cached_property
    def _ways_back(self) -> WaysBack:
        return WaysBack(self._whole())

    @cached_property
    def _tame(self) -> Space:
        """The explored space, its moves only as far as they set no flag that is not set already.

        Nothing has to strike: what goes on for ever, and a way on, must do without.
        """
        space = copy(self._any_space())
        conditions = {
            move.name: self._asked(and_(*(var(f) for f in self.flags if f in move.updates)))
            for move in self._own.moves
        }
        space.system = replace(
            self.system,
            moves=tuple(
                replace(move, guard=and_(move.guard, conditions[move.name]))
                for move in self.system.moves
            ),
        )
        space.moves = [
            move.restricted(space.encoding.truth(conditions[move.name])) for move in space.moves
        ]
        return space
