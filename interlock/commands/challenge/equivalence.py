"""Whether a defect makes any difference at all, and the shortest run that shows one.

Two questions, the cheap one first. *Every move alike*: in every state that the original reaches,
every move is possible in both models or in neither, and leads to the same. Hundreds of defects
are asked this in one exploration of the original; by induction on runs, what is alike here has
the same reachable states. *In lockstep*: both controllers run beside each other on one plant, and
only their outputs, and which moves the plant allows, are compared; what they remember may differ.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace

from interlock.base.errors import InternalError
from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.judge import Replayed
from interlock.independent_judge.player import Player
from interlock.kernel import expr as ex
from interlock.kernel.evaluate import State
from interlock.kernel.expr import FALSE, Expr, and_, ite, ne, not_, or_, var, xor
from interlock.kernel.system import Move, MoveKind, Role, System, Variable
from interlock.kernel.witness import Witness
from interlock.model.build import Built

_CHANGED = "changed."
# What both models share in lockstep; everything else may be there twice.
_SHARED = (Role.PLANT, Role.CONTROL, Role.PHASE)
# Nobody sees whether a timer runs, or a signal may be late, in one of them only; nor that it must
# happen there before more time can pass, which then waits for it in both.
_UNSEEN = (MoveKind.SCAN, MoveKind.TIMER, MoveKind.BUS, MoveKind.TIME)


def where_models_differ(original: Built, changed: Built) -> Expr | None:
    """In which states of `original` a move, or what requirements speak of, is not alike.

    None where `changed` remembers something that `original` does not.
    """
    if remembers_more(original, changed):
        return None
    unlike = [where_moves_differ(original.system, changed.system)]
    for id_, requirement in changed.requirements.items():
        given = original.requirements.get(id_)
        if given is None:
            # The changed program may leave a range or divide by zero, which the original cannot.
            unlike.append(requirement.p)
            continue
        pairs = zip(given.predicates, requirement.predicates, strict=True)
        unlike += [ne(mine, theirs) for mine, theirs in pairs]
    return or_(*unlike)


def remembers_more(original: Built, changed: Built) -> bool:
    """Whether `changed` remembers something that `original` does not."""
    names = original.system.index
    return any(variable.name not in names for variable in changed.system.variables)


def where_moves_differ(original: System, changed: System) -> Expr:
    """In which states a move is possible, or owed, in one of them only, or leads elsewhere.

    What `changed` does not remember is left out.
    """
    owed = [xor(_fair(one), _fair(other)) for one, other in _pairs(original, changed)]
    return or_(*unlike_by_move(original, changed).values(), *owed)


def unlike_by_move(original: System, changed: System) -> dict[str, Expr]:
    """For each move in which states it is possible in one of them only, or leads elsewhere.

    What `changed` does not remember is left out.
    """
    unlike: dict[str, Expr] = {}
    for one, other in _pairs(original, changed):
        given = one or other
        assert given is not None
        possible = and_(_guard(one), _guard(other))
        elsewhere = [and_(possible, ne(a, b)) for a, b in _updates(one, other, changed.index)]
        unlike[given.name] = or_(xor(_guard(one), _guard(other)), *elsewhere)
    return unlike


def _pairs(a: System, b: System) -> Iterator[tuple[Move | None, Move | None]]:
    """The moves of both by name; None where one lacks a move, which is then never possible."""
    names = dict.fromkeys([move.name for move in (*a.moves, *b.moves)])
    of_a = {move.name: move for move in a.moves}
    of_b = {move.name: move for move in b.moves}
    for name in names:
        yield of_a.get(name), of_b.get(name)


def _guard(move: Move | None) -> Expr:
    return FALSE if move is None else move.guard


def _fair(move: Move | None) -> Expr:
    return FALSE if move is None or move.fair is None else move.fair


def _updates(
    a: Move | None, b: Move | None, kept: Mapping[str, int]
) -> Iterator[tuple[Expr, Expr]]:
    one = {} if a is None else a.updates
    other = {} if b is None else b.updates
    for name in dict.fromkeys((*one, *other)):
        if name in kept:
            yield one.get(name, var(name)), other.get(name, var(name))


class LockstepProduct:
    """Two models of one plant, run beside each other until anything to be seen differs.

    Parameters
    ----------
    original, changed : Built
        In the same run class. They differ in the controller, in signals or in guards.

    Attributes
    ----------
    system : System
    differs : Expr
        An output differs, or the plant allows a move in one of them only.
    owes_otherwise : Expr
        A move of the plant whose condition stays true is owed; here the condition holds in one of
        them only. Where nothing else differs, that is between a move and its scan.
    """

    def __init__(self, original: Built, changed: Built) -> None:
        self.original = original
        self.changed = changed
        pairs = list(_pairs(original.system, changed.system))
        self._twice = self._doubled(pairs)
        self._renamed = {name: var(_CHANGED + name) for name in self._twice}
        seen = [ne(a, b) for a, b in self._outputs()]
        seen += differences_seen_in_plant(original, changed, self._in_changed)
        self.differs = or_(*seen)
        environment = [p for p in pairs if _kind(*p) not in _UNSEEN]
        owed = [(_fair(one), self._in_changed(_fair(other))) for one, other in environment]
        self.owes_otherwise = or_(*(xor(mine, theirs) for mine, theirs in owed))
        self.system = self._product(pairs)

    def _doubled(self, pairs: list[tuple[Move | None, Move | None]]) -> frozenset[str]:
        """What may differ between the two before anything is seen to."""
        original, changed = self.original.system, self.changed.system
        own = {v.name for v in changed.variables if v.role not in _SHARED}
        twice = {name for name in own if name not in original.index}
        updates: dict[str, list[Expr]] = {name: [] for name in own}
        for one, other in pairs:
            mine = {} if one is None else one.updates
            theirs = {} if other is None else other.updates
            for name in own & (set(mine) | set(theirs)):
                new = theirs.get(name, var(name))
                updates[name].append(new)
                unlike = mine.get(name, var(name)) is not new
                if unlike or _guard(one) is not _guard(other):
                    twice.add(name)
        reads = {name: set(ex.variables_of(roots)) for name, roots in updates.items()}
        grown = True
        while grown:
            more = {name for name in own - twice if reads[name] & twice}
            twice |= more
            grown = bool(more)
        return frozenset(twice)

    def _in_changed(self, expr: Expr) -> Expr:
        """An expression of the changed model over the product."""
        return ex.substitute([expr], self._renamed)[0]

    def _outputs(self) -> Iterator[tuple[Expr, Expr]]:
        """Each output as lamps and valves are given it, in both, whatever has taken effect."""
        given, changed = self.original.given, self.changed.given
        theirs = ex.substitute([changed[name] for name in given], self._renamed)
        yield from zip(given.values(), theirs, strict=True)

    def _product(self, pairs: list[tuple[Move | None, Move | None]]) -> System:
        original, changed = self.original.system, self.changed.system
        more = [
            Variable(_CHANGED + v.name, v.domain, v.initial, v.role)
            for v in changed.variables
            if v.name in self._twice
        ]
        moves = [self._joint(one, other) for one, other in pairs]
        moves = [move for move in moves if move.guard is not FALSE]
        return original.extended(more, moves).narrowed([self.differs, self.owes_otherwise])

    def started_in(self, state: State) -> System:
        """The product from a state of the original on to which both have gone alike."""
        values = dict(zip((v.name for v in self.original.system.variables), state, strict=True))
        variables = tuple(
            replace(v, initial=values[v.name.removeprefix(_CHANGED)]) for v in self.system.variables
        )
        return replace(self.system, variables=variables)

    def _joint(self, one: Move | None, other: Move | None) -> Move:
        """The move in both. A timer that runs in one only elapses there only; so does a delay."""
        given = one or other
        assert given is not None
        mine, theirs = _guard(one), self._in_changed(_guard(other))
        guard = mine
        if given.kind in (MoveKind.TIMER, MoveKind.BUS):
            guard = or_(mine, theirs)
        elif given.kind is MoveKind.TIME:
            guard = and_(mine, theirs)
        updates: dict[str, Expr] = {}
        for name, new in ({} if one is None else one.updates).items():
            updates[name] = ite(mine, new, var(name)) if guard is not mine else new
        for name, new in ({} if other is None else other.updates).items():
            if name in self._twice:
                then = self._in_changed(new)
                twin = self._renamed[name]
                updates[_CHANGED + name] = ite(theirs, then, twin) if guard is not theirs else then
        # What comes after the first difference means nothing.
        return replace(given, guard=and_(guard, not_(self.differs)), updates=updates, fair=None)

    def replayed(self, witness: Witness) -> tuple[Replayed, tuple[str, ...]]:
        """Play a run to the first difference on both models; tell the run and what differs.

        Raises
        ------
        InternalError
            Where the two differ earlier than the engine says, or not at all.
        """
        one, other = Player(self.original.model), Player(self.changed.model)
        happenings: list[Happening] = []
        for number, step in enumerate(witness.steps, 1):
            if self._seen(one, other):
                raise InternalError(
                    f"step {number}: the models differ earlier than the engine says"
                )
            move = self.system.move(step.move)
            _play(one, move)
            happenings.append(_play(other, move))
        seen = self._seen(one, other)
        if not seen:
            raise InternalError(
                "the engine says that the models differ, the replay that they agree"
            )
        return Replayed(tuple(happenings), None), seen

    def _seen(self, one: Player, other: Player) -> tuple[str, ...]:
        mine, theirs = one.given(), other.given()
        domains = {v.name: v.domain for v in self.original.system.variables}
        said = []
        for name in mine:
            if mine[name] != theirs[name]:
                show = domains[name].show
                said.append(f"{name} is {show(theirs[name])} instead of {show(mine[name])}")
        names = {move.name: move.says or move.name for move in self.original.model.moves}
        for move in self.original.system.moves + self.changed.system.moves:
            if move.name in names and one.enabled(move.name) != other.enabled(move.name):
                can = "is possible" if other.enabled(move.name) else "is not possible any more"
                said.append(f"'{names[move.name]}' {can}")
        return tuple(dict.fromkeys(said))


def differences_seen_in_plant(
    original: Built, changed: Built, in_changed: Callable[[Expr], Expr] = lambda expr: expr
) -> list[Expr]:
    """Conditions under which a move of the plant is possible, or leads elsewhere, in one only.

    `in_changed` gives what an expression of the changed model is where both are beside each other.
    """
    unlike = []
    shared = {v.name: 0 for v in original.system.variables if v.role in _SHARED}
    for one, other in _pairs(original.system, changed.system):
        if _kind(one, other) in _UNSEEN:
            continue
        mine, theirs = _guard(one), in_changed(_guard(other))
        unlike.append(xor(mine, theirs))
        pairs = _updates(one, other, shared)
        unlike += [and_(mine, theirs, ne(a, in_changed(b))) for a, b in pairs]
    return unlike


def _kind(one: Move | None, other: Move | None) -> MoveKind:
    given = one or other
    assert given is not None
    return given.kind


def _play(player: Player, move: Move) -> Happening:
    if move.kind is MoveKind.BUS and player.why_not_late(move.name):
        player.pass_event()
        return Happening(move.name, move.kind, move.says, (), origin=move.origin)
    if move.kind is MoveKind.TIMER:
        assert move.origin is not None
        timer = move.origin.of
        runs = timer in player.controller.running_timers()
        if not runs or player.why_not_in_time(move.name):
            player.pass_event()
            return Happening(
                move.name, move.kind, f"the time of {timer} is up", (), origin=move.origin
            )
    return player.play(move.name)
