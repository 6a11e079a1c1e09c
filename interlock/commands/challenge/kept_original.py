"""The original model with all that it reaches kept: defects are tried from there, not power-up.

A defect changes what few states lead to. So the original is explored once and its states are kept,
and a defect costs a look at every kept state (does any move differ there?) and the exploration of
what follows from those in which one does. What these two hold together is everything that the
changed model reaches, and maybe more: where no requirement is violated in them, none is; where one
is, the run is made on the changed model step by step before it counts, and replayed by the judge
as always.

Requirements are asked in bundles, each over the part of the model that it depends on: what a
defect does to a lamp is of no account where only motion is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from interlock.engines import keeper
from interlock.kernel.asking import Question
from interlock.kernel.expr import Expr
from interlock.kernel.kept import Kept
from interlock.kernel.observe import needs_observer, observe, observe_all
from interlock.kernel.query import Limits, Reach, Stay, Trap
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import Move, MoveKind, Role, System
from interlock.kernel.witness import Witness
from interlock.model.build import Built

# More states than this are not kept: one takes about 28 bytes.
MOST_KEPT = 40_000_000


class NeedsFullSearchError(Exception):
    """The kept states do not decide it, the changed model must be explored; the text says why."""


class RequirementBundle:
    """Requirements that are asked together, and the part of the original that they depend on.

    Parameters
    ----------
    original : System
    requirements : sequence of Requirement
    limits : Limits

    Attributes
    ----------
    requirements : tuple of Requirement
    questions : list of Question
    targets : list of Expr
        What the questions look at.
    system : System
        With the requirements' observers.
    """

    def __init__(
        self, original: System, requirements: Sequence[Requirement], limits: Limits
    ) -> None:
        self.requirements = tuple(requirements)
        self._limits = limits
        self.questions = observe_all(original, requirements)
        self.targets = [expr for question in self.questions for expr in observed_by(question)]
        self.system = self.questions[-1].system.narrowed(self.targets)
        pairs = zip(original.moves, self.system.moves, strict=True)
        self._own = {move.name: (move, part) for move, part in pairs}
        # What an observer makes of a move depends only on what it counts.
        watching = {v.name for v in self.system.variables if v.role is Role.OBSERVER}
        self._watches = {
            _counted_as(part): {n: e for n, e in part.updates.items() if n in watching}
            for part in self.system.moves
        }
        self._kept_states: Kept | NeedsFullSearchError | None = None
        self._ways: dict[Expr, list[str] | None] = {}

    @property
    def kept_states(self) -> Kept:
        """What the original reaches.

        Raises
        ------
        NeedsFullSearchError
            Where that are too many states to be kept.
        """
        if self._kept_states is None:
            try:
                self._kept_states = keep_states(self.system, self._limits)
            except NeedsFullSearchError as reason:
                self._kept_states = reason
        if isinstance(self._kept_states, NeedsFullSearchError):
            raise self._kept_states
        return self._kept_states

    @property
    def is_kept(self) -> bool:
        """Whether what the original reaches can be kept; it is explored for that."""
        try:
            return self.kept_states.complete
        except NeedsFullSearchError:
            return False

    def way(self, goal: Expr) -> list[str] | None:
        """Moves from the original's aim to a state with `goal`."""
        if goal not in self._ways:
            aim = self.kept_states.aim
            self._ways[goal] = None if aim is None else self.kept_states.way(aim, goal)
        return self._ways[goal]

    def of(
        self, changed: System, requirements: Sequence[Requirement]
    ) -> tuple[list[Question], System]:
        """The questions put to a changed system over the original's variables, and its part.

        Raises
        ------
        NeedsFullSearchError
            Where what the requirements depend on is more there.
        """
        try:
            if tuple(requirements) == self.requirements:
                moves = [self._part(move) for move in changed.moves]
                return self.questions, self.system.with_moves(moves)
            questions = observe_all(changed, requirements)
            names = self.system.index
            moves = [
                replace(m, updates={n: e for n, e in m.updates.items() if n in names})
                for m in questions[-1].system.moves
            ]
            return questions, self.system.with_moves(moves)
        except ValueError as error:
            raise NeedsFullSearchError(f"more counts than in the original: {error}") from None

    def _part(self, move: Move) -> Move:
        pair = self._own.get(move.name)
        if pair is not None and pair[0] is move:
            return pair[1]
        updates = {n: e for n, e in move.updates.items() if n in self.system.index}
        return replace(move, updates={**updates, **self._watches[_counted_as(move)]})


def _counted_as(move: Move) -> MoveKind | None:
    """What a move is to an observer: a scan, a unit of time, or neither."""
    return move.kind if move.kind in (MoveKind.SCAN, MoveKind.TIME) else None


def keep_states(system: System, limits: Limits) -> Kept:
    """All that a system reaches, kept.

    Raises
    ------
    NeedsFullSearchError
        Where that is too much.
    """
    cap = min(limits.max_states or MOST_KEPT, MOST_KEPT)
    kept = keeper().keep(system, replace(limits, max_states=cap))
    if not kept.complete:
        raise NeedsFullSearchError(f"the original has more than {kept.n_states:,} states")
    return kept


def observed_by(question: Question) -> Iterator[Expr]:
    """What a question looks at."""
    for query in question.violations:
        match query:
            case Reach(target, ()):
                yield target
            case Trap(goal):
                yield goal
            case Stay(start, stay, ()):
                yield from (start, stay)
            case _:
                raise AssertionError("no violation is asked for like that")


class KeptOriginal:
    """The original of a challenge in one run class, kept.

    Parameters
    ----------
    original : Built
    catching : sequence of str
        The requirements that hold of the original and may catch.
    limits : Limits

    Attributes
    ----------
    kept_states : Kept
        What the original as a whole reaches.
    bundles : tuple of RequirementBundle
        What costs least comes first.
    found : dict
        What came of changed models, by what they change.

    Raises
    ------
    NeedsFullSearchError
        Where the original has too many states to be kept.
    """

    def __init__(self, original: Built, catching: Sequence[str], limits: Limits) -> None:
        self.original = original
        self.limits = limits
        self.kept_states = keep_states(original.system, limits)
        self.found: dict[object, object] = {}
        wanted = [original.requirements[id_] for id_ in catching]
        self.bundles = tuple(
            bundle
            for some in _bundled(original.system, wanted)
            for bundle in _fitting(original.system, some, limits)
        )

    @property
    def n_states(self) -> int:
        """How many states the original reaches."""
        return self.kept_states.n_states

    def occur(self, conditions: Sequence[Expr]) -> list[bool]:
        """For each condition whether some state meets it."""
        return [entry is not None for entry in self.kept_states.first(conditions)]

    def nearest(self, condition: Expr, most: int | None = None) -> Witness | None:
        """A shortest run to a state that meets it, up to `most` moves; None without one."""
        (found,) = self.kept_states.first([condition])
        if found is None or (most is not None and self.kept_states.depth_of(found[1]) > most):
            return None
        return self.kept_states.witness_to(found[1])


def _fitting(
    original: System, requirements: Sequence[Requirement], limits: Limits
) -> Iterator[RequirementBundle]:
    """One bundle, or several where their observers together reach too many states to be kept."""
    bundle = RequirementBundle(original, requirements, limits)
    half = len(requirements) // 2
    if not half or not any(map(needs_observer, requirements)) or bundle.is_kept:
        yield bundle
        return
    yield from _fitting(original, requirements[:half], limits)
    yield from _fitting(original, requirements[half:], limits)


def _bundled(system: System, requirements: Sequence[Requirement]) -> list[list[Requirement]]:
    """Requirements by what they depend on besides what moves and guards do.

    Those of the vehicle's motion alone stand apart, and of these the ones that remember.
    """
    core = set(system.narrowed([]).index)
    besides: list[tuple[Requirement, frozenset[str]]] = []
    for requirement in requirements:
        question = observe(system, requirement)
        cone = question.system.narrowed(list(observed_by(question)))
        names = {v.name for v in cone.variables if v.role is not Role.OBSERVER}
        besides.append((requirement, frozenset(names - core)))
    widest = [
        names
        for names in dict.fromkeys(names for _, names in besides if names)
        if not any(names < others for _, others in besides)
    ]
    moving = [requirement for requirement, names in besides if not names]
    remembering = [requirement for requirement in moving if needs_observer(requirement)]
    bundles = [[requirement for requirement in moving if requirement not in remembering]]
    for group in widest:
        taken = {r.id for bundle in bundles for r in bundle}
        bundles.append(
            [r for r, names in besides if names and names <= group and r.id not in taken]
        )
    bundles.append(remembering)
    return [bundle for bundle in bundles if bundle]


def over_variables_of(original: System, changed: System) -> System:
    """`changed` over the variables of `original`.

    What it has no more, since nothing of it reads it, it remembers as the original does.

    Raises
    ------
    NeedsFullSearchError
        Where it remembers more than the original, or starts otherwise.
    """
    own = {variable.name: variable for variable in changed.variables}
    for variable in original.variables:
        if own.pop(variable.name, variable) != variable:
            raise NeedsFullSearchError(f"{variable.name} is declared otherwise")
    if own:
        raise NeedsFullSearchError(f"{min(own)} is remembered besides")
    missing = [v.name for v in original.variables if v.name not in changed.index]
    moves = []
    theirs = {move.name: move for move in original.moves}
    for move in changed.moves:
        same = theirs.get(move.name)
        if same is not None:
            more = {name: same.updates[name] for name in missing if name in same.updates}
            move = replace(move, updates={**move.updates, **more}) if more else move
        moves.append(same if same is not None and move == same else move)
    return original.with_moves(moves)
