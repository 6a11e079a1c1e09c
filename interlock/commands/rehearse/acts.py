"""What a person does, one act after another: procedures flattened into scripts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from interlock.model.model import Formula, Model
from interlock.model.procedures import Hold, ProcedureStep, control_move


class ActKind(Enum):
    """How an act comes to its end."""

    BEGIN = "begin"  # passes over the whole step where it is done already
    DO = "do"  # one move; passed over where the machine is there already
    UNTIL = "until"  # once the step's done condition is seen
    LINGER = "linger"  # at any moment


@dataclass(frozen=True)
class Act:
    """One act of a script.

    Attributes
    ----------
    kind : ActKind
    step : str
        Id of the step it belongs to.
    moves : tuple of str
        For `DO`: any one of them.
    errors : tuple of str
        For `DO`: human errors that stand for them where none of them is possible.
    machine : str
    passed : frozenset of int
        For `DO`: states of the machine in which there is nothing to do.
    done : Formula or None
        For `BEGIN` and `UNTIL`.
    skips : int
        For `BEGIN`: how many acts follow that are passed over where the step is done already.
    """

    kind: ActKind
    step: str
    moves: tuple[str, ...] = ()
    errors: tuple[str, ...] = ()
    machine: str = ""
    passed: frozenset[int] = frozenset()
    done: Formula | None = None
    skips: int = 0


Acts = tuple[Act, ...]


@dataclass(frozen=True)
class Passage:
    """A step as it is performed here, perhaps otherwise than the procedure says.

    Attributes
    ----------
    step : ProcedureStep
    acts : tuple of Act
    beside : tuple of Act
        What a second person does at some time while it is performed.
    """

    step: ProcedureStep
    acts: Acts
    beside: Acts = ()


def as_written(step: ProcedureStep, erring: bool = False) -> Passage:
    """The step as the procedure says.

    Parameters
    ----------
    step : ProcedureStep
    erring : bool
        Whether an action that is not possible may be brought about by a declared human error.
    """
    acts = [do(step, number, erring) for number in range(len(step.actions))]
    if not acts and not step.holds:
        return Passage(step, (Act(ActKind.UNTIL, step.id, done=step.done),))
    if not step.holds:
        until = Act(ActKind.UNTIL, step.id, done=step.done)
        begin = Act(ActKind.BEGIN, step.id, done=step.done, skips=len(acts) + 1)
        return Passage(step, (begin, *acts, until))
    until = Act(ActKind.UNTIL, step.id, done=step.done)
    return Passage(step, (*acts, *held(step, step.holds, until)))


def do(step: ProcedureStep, number: int, erring: bool = False) -> Act:
    """The act of bringing one machine to a state.

    There is nothing to do where the machine is there, or where a later action of the step would
    bring it, unless the action starts from there.
    """
    action = step.actions[number]
    later = {a.target for a in step.actions[number:] if a.machine == action.machine}
    passed = frozenset({action.target} | later - action.sources)
    errors = action.errors if erring else ()
    return Act(ActKind.DO, step.id, action.moves, errors, action.machine, passed)


def held(step: ProcedureStep, holds: Sequence[Hold], until: Act) -> Acts:
    """Press one after the other, wait as `until` says, let go from the last to the first."""
    pressed = [press(step, hold) for hold in holds]
    return (*pressed, until, *(let_go(step, hold) for hold in reversed(holds)))


def press(step: ProcedureStep, hold: Hold) -> Act:
    """The act of pressing a control."""
    return Act(ActKind.DO, step.id, (hold.press,), (), hold.control, frozenset({hold.position}))


def let_go(step: ProcedureStep, hold: Hold) -> Act:
    """The act of letting a control go."""
    return Act(ActKind.DO, step.id, (hold.release,), (), hold.control, frozenset({hold.released}))


def pressed_a_while(step: ProcedureStep, holds: Sequence[Hold]) -> Acts:
    """Press, and let go at any moment."""
    return held(step, holds, Act(ActKind.LINGER, step.id))


def let_go_early(step: ProcedureStep, hold: Hold) -> Acts:
    """Press all that the step holds, let go of one at any moment, and of the others later."""
    others = [other for other in step.holds if other != hold]
    linger = Act(ActKind.LINGER, step.id)
    pressed = [press(step, one) for one in step.holds]
    later = [linger, *(let_go(step, other) for other in reversed(others))] if others else []
    return (*pressed, linger, let_go(step, hold), *later)


def hold_of(model: Model, control: str, position: int) -> Hold:
    """Holding any control of the model that a spring takes back."""
    machine = model.machines[control]
    assert machine.released is not None, "only what springs back is held"
    press = control_move(model, control, position)
    release = control_move(model, control, machine.released)
    return Hold(control, position, machine.released, press, release)


def all_let_go(model: Model, step: ProcedureStep) -> Acts:
    """Letting go of every control that a spring takes back."""
    return tuple(
        let_go(step, hold_of(model, name, machine.released))
        for name, machine in model.machines.items()
        if machine.is_control and machine.released is not None
    )


@dataclass(frozen=True)
class Script:
    """Acts in order, with what a second person does beside some of them.

    Attributes
    ----------
    acts : tuple of Act
    beside : tuple of Act
    window : range
        The numbers of the acts beside which the second person acts; the last of them is not left
        before the second person is through.
    starts : tuple of int
        Number of the first act of each passage.
    """

    acts: Acts
    beside: Acts = ()
    window: range = range(0)
    starts: tuple[int, ...] = ()


def script_of(passages: Sequence[Passage], before: Acts = ()) -> Script:
    """The passages one after the other, behind the acts in `before`."""
    acts: list[Act] = list(before)
    beside: Acts = ()
    window = range(0)
    starts = []
    for passage in passages:
        starts.append(len(acts))
        if passage.beside:
            window = range(len(acts), len(acts) + len(passage.acts))
            beside = passage.beside
        acts += passage.acts
    return Script(tuple(acts), beside, window, tuple(starts))
