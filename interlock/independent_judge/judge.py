"""The independent judge: a violation is shown only after it was replayed here.

The run is played on the source-level model; every state must be the one the engine says; and the
requirement, evaluated by its published formula over the source-level predicates, must be false
of the run. A disagreement is an `InternalError` that names both sides.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from time import monotonic

from interlock.base.errors import InternalError
from interlock.independent_judge.behind import Behind
from interlock.independent_judge.happenings import Happening
from interlock.independent_judge.player import Player
from interlock.independent_judge.trace import holds
from interlock.kernel.asking import Question
from interlock.kernel.evaluate import State
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.system import PHASE, MoveKind, Role, System
from interlock.kernel.witness import Witness
from interlock.model.build import ARITHMETIC, TIME, Built
from interlock.model.model import Formula, Model, Statement
from interlock.model.timing import TICK
from interlock.st.evaluate import evaluate_expression

# How many states are looked at to confirm that a trap has no way out: some seconds of playing.
TRAP_LIMIT = 5_000


@dataclass(frozen=True)
class Replayed:
    """A run that was replayed and confirmed.

    Attributes
    ----------
    happenings : tuple of Happening
    loop_start : int or None
        As in the witness.
    note : str
        What the replay could not confirm by itself, or what the scan after the last step does that
        none should; or an empty text.
    """

    happenings: tuple[Happening, ...]
    loop_start: int | None
    note: str = ""


class ReplayTimeError(Exception):
    """The time for a replay is over."""


_DEFECTS_SHOWN = 3

# After so many steps of a run, or states behind it, the clock is looked at.
_TIMED = 1000


def replay(
    built: Built,
    question: Question,
    witness: Witness,
    trap_limit: int = TRAP_LIMIT,
    until: float | None = None,
    behind: dict[tuple[str, ...], Behind] | None = None,
) -> Replayed:
    """Replay `witness`, a violation of the question's requirement.

    Behind a trap at most `trap_limit` states are looked at. Where `behind` is given, what was found
    there is kept in it, by the moves of the run, for further replays of the same built model.

    Raises
    ------
    ReplayTimeError
        Where that takes longer than `until`, on the clock of `time.monotonic`.
    InternalError
        Where model and engine disagree about a step, a state or the violation itself.
    """
    id_ = question.requirement.id
    player = Player(built.model)
    statement = built.model.statements.get(id_)
    words = [observe(player, statement)]
    _same_state(id_, question.system, witness.initial, player, 0)
    happenings = []
    for number, step in enumerate(witness.steps, 1):
        _check_time(number, until)
        happenings.append(player.play(step.move))
        _same_state(id_, question.system, step.state, player, number)
        words.append(observe(player, statement))
    moves = tuple(step.move for step in witness.steps)
    search = _Search(built.run_class.human, trap_limit, until, moves, behind)
    if id_ == TIME and statement is None:
        return Replayed(tuple(happenings), None, _judge_time(player, search))
    if statement is None:
        return Replayed(tuple(happenings), None, _judge_arithmetic(id_, player))
    if witness.loop_start is not None:
        _check_fair(id_, built, witness, until)
    note = _judge(statement, player, words, witness, search)
    return Replayed(tuple(happenings), witness.loop_start, note)


def _check_time(n_steps: int, until: float | None) -> None:
    if until is not None and n_steps % _TIMED == 0 and monotonic() > until:
        raise ReplayTimeError


@dataclass(frozen=True)
class _Search:
    """How a way out is looked for.

    Attributes
    ----------
    human : bool
        Whether people err.
    most : int
        Most states that are looked at.
    until : float or None
        When the time for it is over.
    moves : tuple of str
        Of the run.
    known : dict of tuple of str to Behind, or None
        What was found behind runs, by their moves.
    """

    human: bool
    most: int
    until: float | None
    moves: tuple[str, ...]
    known: dict[tuple[str, ...], Behind] | None


def replay_run(built: Built, witness: Witness, then: str | None = None) -> tuple[Happening, ...]:
    """Replay a run that violates nothing.

    Parameters
    ----------
    built : Built
    witness : Witness
        Over the variables of ``built.system``.
    then : str, optional
        A move that must be possible at its end; it is played, too.

    Raises
    ------
    InternalError
        Where model and engine disagree about a step or a state.
    """
    player = Player(built.model)
    called = built.model.name if then is None else f"run to '{then}'"
    _same_state(called, built.system, witness.initial, player, 0)
    happenings = []
    for number, step in enumerate(witness.steps, 1):
        happenings.append(player.play(step.move))
        _same_state(called, built.system, step.state, player, number)
    if then is not None:
        happenings.append(player.play(then))
    return tuple(happenings)


def _same_state(id_: str, system: System, state: State, player: Player, number: int) -> None:
    played = player.state()
    for variable, value in zip(system.variables, state, strict=True):
        if variable.role is Role.OBSERVER:
            continue
        if played[variable.name] != value:
            show = variable.domain.show
            raise InternalError(
                f"{id_}, step {number}: the engine says {variable.name} is {show(value)}, "
                f"the replay says {show(played[variable.name])}"
            )


Valuation = dict[str, bool]
Observed = tuple[bool, Valuation]


def observe(
    player: Player, statement: Statement | None, truth: Mapping[str, int] | None = None
) -> Observed:
    """Whether this state follows a completed scan, and what the predicates are in it.

    Parameters
    ----------
    player : Player
    statement : Statement or None
    truth : mapping of str to int, optional
        The player's, where several statements are observed in one state.
    """
    after_scan = player.state()[PHASE] == 0
    if statement is None:
        return after_scan, {}
    if statement.after_scan_of:
        after_scan = after_scan and player.scanned_by() == statement.after_scan_of
    values = player.truth if truth is None else truth
    if statement.about_signals:
        signals = {name.casefold(): value for name, value in player.signals().items()}
        values = {**signals, **values}

    # A bound in time is passed by units of time as one in scans is by scans.
    in_time = statement.within is not None and statement.within.counted is MoveKind.TIME

    def value(formula: Formula | None) -> bool:
        return formula is None or bool(evaluate_expression(formula.tree, values))

    p = value(statement.p)
    if statement.when is not None:
        applies = value(statement.when)
        p = p if applies else PATTERNS[statement.pattern].wants_p
    return after_scan, {
        "p": p,
        "s": value(statement.s),
        "q": value(statement.opens),
        "r": value(statement.closes),
        # Moves count as pending until the next scan: with none pending, a scan led here.
        "scan": player.led_by == TICK if in_time else after_scan,
    }


def _judge(
    statement: Statement,
    player: Player,
    words: list[Observed],
    witness: Witness,
    search: _Search,
) -> str:
    if not PATTERNS[statement.pattern].is_of_runs:
        return _judge_trap(statement, player, words, search)
    loop = len(words) - 1 if witness.loop_start is None else witness.loop_start
    word, start = judged_word(statement, words, loop)
    if not word:
        raise InternalError(f"{statement.id}: the run has no state at which it is judged")
    within = None if statement.within is None else statement.within.scans
    if holds(statement.pattern, statement.scope, word, start, within):
        raise InternalError(
            f"{statement.id}: the engine says violated, the replay finds that it holds on the run"
        )
    return ""


def judged_word(
    statement: Statement, words: list[Observed], loop: int
) -> tuple[list[Valuation], int]:
    """The states at which `statement` is judged, and which of them follows the last one.

    Parameters
    ----------
    statement : Statement
    words : list of (bool, Valuation)
        Every state of the run, as `observe` gives them.
    loop : int
        Position in `words` that follows the last one.
    """
    judged = [
        (number, valuation)
        for number, (after_scan, valuation) in enumerate(words)
        if after_scan or not statement.after_scan
    ]
    # The loop's first judged state; with none in it, the last judged state repeats.
    start = next((n for n, (at, _) in enumerate(judged) if at >= loop), len(judged) - 1)
    return [valuation for _, valuation in judged], start


def _judge_trap(
    statement: Statement, player: Player, words: list[Observed], search: _Search
) -> str:
    if _is_goal(statement, words[-1]):
        raise InternalError(f"{statement.id}: the run ends in a state that is the goal itself")

    def is_goal(at: Player) -> bool:
        return _is_goal(statement, observe(at, statement))

    escapes = _escapes(is_goal, player, search)
    return _said_of_trap(statement.id, escapes, search.most)


def _judge_time(player: Player, search: _Search) -> str:
    """Judge that no time can ever pass any more."""
    escapes = player.may_time_pass() or _escapes(Player.may_time_pass, player, search)
    return _said_of_trap(TIME, escapes, search.most)


def _said_of_trap(id_: str, escapes: bool | None, trap_limit: int) -> str:
    if escapes:
        raise InternalError(f"{id_}: the goal can be reached from the end of the run")
    if escapes is None:
        return f"the replay looked at {trap_limit:,} states behind it and found no way back"
    return ""


def _is_goal(statement: Statement, observed: Observed) -> bool:
    """The goal counts where the requirement is judged, as every predicate does."""
    after_scan, valuation = observed
    return valuation["p"] and (after_scan or not statement.after_scan)


def _escapes(is_goal: Callable[[Player], bool], player: Player, search: _Search) -> bool | None:
    """Whether the goal can be reached from where the player is; None where there is too much."""
    behind = None if search.known is None else search.known.get(search.moves)
    if behind is None:
        behind = Behind(player, search.human)
        if search.known is not None:
            search.known[search.moves] = behind
    return behind.leads_to(is_goal, search.most, lambda n: _check_time(n, search.until))


def _check_fair(id_: str, built: Built, witness: Witness, until: float | None) -> None:
    """Every plant move that stays possible in the loop must be taken in it, on the model."""
    assert witness.loop_start is not None
    moves = [step.move for step in witness.steps]
    missed = owed_by_loop(built.model, moves, witness.loop_start, until)
    if missed:
        raise InternalError(f"{id_}: the engine's loop is not fair, it owes {', '.join(missed)}")


def owed_by_loop(
    model: Model, moves: Sequence[str], loop_start: int, until: float | None = None
) -> list[str]:
    """What a run owes that repeats the moves behind `loop_start` for ever.

    A plant move that stays possible all through the loop must be taken in it, and so must the end
    of a timer that runs all through it, and a scan.

    Raises
    ------
    ReplayTimeError
        As for `replay`.
    InternalError
        Where a move is not possible.
    """
    player = Player(model)
    for number, move in enumerate(moves[:loop_start], 1):
        _check_time(number, until)
        player.play(move)
    owed = set(player.owed())
    for number, move in enumerate(moves[loop_start:], 1):
        _check_time(number, until)
        player.play(move)
        owed &= set(player.owed())
    return sorted(owed - set(moves[loop_start:]))


def _judge_arithmetic(id_: str, player: Player) -> str:
    if id_ != ARITHMETIC:
        raise InternalError(f"{id_}: the model states no such requirement")
    found = player.defects_next()
    if not found:
        raise InternalError(
            f"{id_}: the engine says that the next scan leaves a range, the replay that it does not"
        )
    said = "; ".join(f"{defect.place.short}: {defect.says}" for defect in found[:_DEFECTS_SHOWN])
    n_more = len(found) - _DEFECTS_SHOWN
    return f"the next scan: {said}" + (f"; and {n_more} more" if n_more > 0 else "")
