"""Human deviations from a procedure: each is one way to perform some of its steps otherwise.

Whoever deviates goes on with the procedure afterwards, as somebody does who has not noticed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Protocol

from interlock.commands.rehearse.acts import (
    ActKind,
    Passage,
    as_written,
    hold_of,
    let_go,
    let_go_early,
    pressed_a_while,
)
from interlock.model.model import Model
from interlock.model.procedures import Hold, Procedure, ProcedureStep


class DeviationKind(Enum):
    """What a person does otherwise."""

    OMITTED = "omitted"
    OUT_OF_ORDER = "out of order"
    REPEATED = "repeated"
    BROKEN_OFF = "broken off"
    RELEASED_EARLY = "released early"
    WRONG_BUTTON = "wrong button"
    TWO_AT_ONCE = "two people at once"
    OTHER_POINT = "other control point"


@dataclass(frozen=True)
class Anchor:
    """How likely a deviation is for each time, where a published figure exists.

    Attributes
    ----------
    probability : float or None
    source : str
    """

    probability: float | None
    source: str


_TABLE = "NUREG/CR-1278, Table 20-7"
_NO_FIGURE = Anchor(None, "no published figure known to fit")
SHORT_LIST = 10


def anchor_of(kind: DeviationKind, procedure: Procedure) -> Anchor:
    """The anchor of likelihood for a kind of deviation in a procedure.

    Source: NUREG/CR-1278 (Swain and Guttmann, 1983), Table 20-7: error of omission per item,
    by the length of the list and by whether steps are ticked off. Nominal values for people
    under no stress, not measurements of this crew.
    """
    if kind is not DeviationKind.OMITTED:
        return _NO_FIGURE
    long = len(procedure.steps) > SHORT_LIST
    if procedure.check_off:
        figure = 0.003 if long else 0.001
        return Anchor(figure, f"{_TABLE}, with check-off (from memory)")
    if long:
        return Anchor(0.01, f"{_TABLE}, more than 10 items, no check-off (from memory)")
    return Anchor(0.003, f"{_TABLE}, at most 10 items, no check-off")


@dataclass(frozen=True)
class Deviation:
    """One deviation.

    Attributes
    ----------
    kind : DeviationKind
    steps : tuple of str
        Ids of the steps that are performed otherwise.
    says : str
    first, last : int
        Numbers of those steps; the passages stand in place of them.
    passages : tuple of Passage
    main : bool
        Whether it is one of those that are looked at in pairs: of several that differ only in
        which button it is, one.
    """

    kind: DeviationKind
    steps: tuple[str, ...]
    says: str
    first: int
    last: int
    passages: tuple[Passage, ...]
    main: bool = True


class _Made(Protocol):
    def __call__(
        self, kind: DeviationKind, says: str, *passages: Passage, main: bool = True
    ) -> Deviation: ...


def deviations(model: Model, procedure: Procedure) -> list[Deviation]:
    """Every deviation from a procedure, in the order of its steps."""
    found = []
    for number, step in enumerate(procedure.steps):
        found += list(_of_step(model, procedure, number, step))
    return found


def _of_step(
    model: Model, procedure: Procedure, number: int, step: ProcedureStep
) -> Iterator[Deviation]:
    usual = as_written(step, erring=True)
    ids = (step.id,)

    def made(kind: DeviationKind, says: str, *passages: Passage, main: bool = True) -> Deviation:
        return Deviation(kind, ids, says, number, number, passages, main)

    yield made(DeviationKind.OMITTED, f"'{step.says}' is left out")
    if number + 1 < len(procedure.steps):
        later = procedure.steps[number + 1]
        yield Deviation(
            DeviationKind.OUT_OF_ORDER,
            (step.id, later.id),
            f"'{later.says}' comes before '{step.says}'",
            number,
            number + 1,
            (as_written(later, erring=True), usual),
        )
    if step.actions or step.holds:
        yield made(DeviationKind.REPEATED, f"'{step.says}' is done twice", usual, usual)
    for n in range(1, _n_actions(step)):
        acts = tuple(act for act in usual.acts if act.kind is ActKind.DO)[:n]
        # Whoever breaks off does not go on holding what was pressed.
        pressed = step.holds[: max(n - len(step.actions), 0)]
        acts += tuple(let_go(step, hold) for hold in reversed(pressed))
        says = f"'{step.says}' is broken off after {n} of {_n_actions(step)}"
        yield made(DeviationKind.BROKEN_OFF, says, Passage(step, acts))
    for hold in step.holds:
        yield from _of_hold(model, step, hold, usual, made)
    for n, hold in enumerate(_holds(model)):
        if hold.control in {own.control for own in step.holds}:
            continue
        beside = pressed_a_while(step, [hold])
        says = f"a second person holds {_button(model, hold)} during '{step.says}'"
        with_second = Passage(step, usual.acts, beside)
        yield made(DeviationKind.TWO_AT_ONCE, says, with_second, main=n == 0)


def _of_hold(
    model: Model, step: ProcedureStep, hold: Hold, usual: Passage, made: _Made
) -> Iterator[Deviation]:
    before = tuple(act for act in usual.acts if act.kind is ActKind.DO)[: len(step.actions)]
    early = Passage(step, (*before, *let_go_early(step, hold)))
    says = f"{_button(model, hold)} is let go early in '{step.says}'"
    yield made(DeviationKind.RELEASED_EARLY, says, early)
    others = [other for other in step.holds if other != hold]
    if others:
        without = Passage(step, (*before, *pressed_a_while(step, others)))
        says = f"{_button(model, hold)} is not held in '{step.says}'"
        yield made(DeviationKind.OMITTED, says, without, main=False)
    first = True
    for other in _holds(model):
        if other.control == hold.control and other.position != hold.position:
            wrong = Passage(step, (*before, *pressed_a_while(step, [other])))
            says = f"{_button(model, other)} is held a while before '{step.says}'"
            yield made(DeviationKind.WRONG_BUTTON, says, wrong, usual, main=first)
            first = False
    wanted = model.machines[hold.control].states[hold.position].casefold()
    for other in _holds(model):
        named = model.machines[other.control].states[other.position].casefold()
        own = {held.control for held in step.holds}
        if other.control not in own and named == wanted:
            instead = [other if held == hold else held for held in step.holds]
            elsewhere = Passage(step, (*before, *pressed_a_while(step, instead)))
            says = f"{_button(model, other)} is held in place of {_button(model, hold)}"
            yield made(DeviationKind.OTHER_POINT, says, elsewhere)


def _n_actions(step: ProcedureStep) -> int:
    return len(step.actions) + len(step.holds)


def _holds(model: Model) -> Iterator[Hold]:
    """Every position of every control that a spring takes back."""
    for name, machine in model.machines.items():
        if machine.is_control and machine.released is not None:
            for position in range(len(machine.states)):
                if position != machine.released:
                    yield hold_of(model, name, position)


def _button(model: Model, hold: Hold) -> str:
    machine = model.machines[hold.control]
    called = machine.says or machine.name
    return called if machine.is_bool else f"{machine.states[hold.position]} of {called}"


def performed(procedure: Procedure, chosen: Sequence[Deviation]) -> list[Passage]:
    """The passages of a procedure with deviations.

    Parameters
    ----------
    procedure : Procedure
    chosen : sequence of Deviation
        In order, no two about the same step.
    """
    passages: list[Passage] = []
    number = 0
    waiting = list(chosen)
    while number < len(procedure.steps):
        if waiting and waiting[0].first == number:
            deviation = waiting.pop(0)
            passages += deviation.passages
            number = deviation.last + 1
        else:
            passages.append(as_written(procedure.steps[number], erring=True))
            number += 1
    return passages


def pairs(found: Sequence[Deviation]) -> Iterator[tuple[Deviation, Deviation]]:
    """Every two main deviations about different steps, the earlier one first.

    No two with a second person: that would be a third one.
    """
    main = [d for d in found if d.main]
    for number, one in enumerate(main):
        for two in main[number + 1 :]:
            beside = [d.kind for d in (one, two)].count(DeviationKind.TWO_AT_ONCE)
            if two.first > one.last and beside < 2:
                yield one, two
