"""Why something does not happen: the missing permissive, and the fault where one is the reason."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from interlock.commands.rehearse.successors import World
from interlock.commands.rehearse.why import Reason, Situation
from interlock.model.build import Built, RunClass, build
from tests.support.gate import gate
from tests.support.models import shipped


@cache
def wren() -> Built:
    model = shipped("wren")
    return build(model, RunClass(tuple(model.faults), None, human=True))


@cache
def world_of_wren() -> World:
    return World(wren())


def why(move: str, *moves: str) -> tuple[Reason, ...]:
    """The chain of reasons why `move` is not possible after `moves`, with a scan behind each."""
    world = world_of_wren()
    state = world.system.initial
    for name in ("scan", *(part for made in moves for part in (made, "scan"))):
        assert world.system.move(name) in world.stepper.enabled(state), name
        state = world.stepper.after(state, world.system.move(name))
    situation = Situation(wren().model, world.system, state)
    wanted = next(m for m in wren().model.moves if m.name == move)
    reason = situation.why_not_move(wanted)
    return () if reason is None else reason.chain()


PLUGGED = ("lead: STOWED to LOOSE", "lead: LOOSE to PLUGGED", "pendant to FWD")


def test_a_missing_permissive_is_followed_to_the_line_that_computes_it() -> None:
    chain = why("slide: T_HOME to T_RUN", *PLUGGED)
    told = {reason.text: reason.place.file.rsplit("/", 1)[-1] for reason in chain}
    assert told["may_fwd is FALSE"] == "controller.st"
    assert chain[-1].text == "align = ALIGNED is FALSE: align is OFF"


def test_a_stuck_signal_is_told_as_the_fault_that_sticks_it() -> None:
    chain = why("slide: T_HOME to T_RUN", *PLUGGED[:2], "F32 strikes", PLUGGED[2])
    assert chain[-1].text == "pilot is FALSE: fault F32, pilot loop broken"
    assert chain[-1].place.file.endswith("model.yaml")


def test_what_stuck_outputs_let_happen_is_not_explained_away() -> None:
    faults = ("F40g strikes", "F40h strikes", "F11t strikes")
    assert why("lockT: IN to PART", *PLUGGED[:2], *faults) == ()
    assert why("lockT: IN to PART", *PLUGGED[:2], *faults[1:]) != ()


def test_a_jammed_machine_is_told_as_the_fault_that_keeps_it() -> None:
    model = wren().model
    world = world_of_wren()
    state = list(world.system.initial)
    index = world.system.index
    state[index["guard"]] = model.machines["guard"].index("MID")
    state[index["fault.F30"]] = 1
    situation = Situation(model, world.system, tuple(state))
    move = next(m for m in model.moves if m.name == "guard: MID to OUT")
    reason = situation.why_not_move(move)
    assert reason is not None
    assert reason.text == "guard stays MID: fault F30, guard jams half-way"


def of_a_gate(folder: Path, lines: str) -> list[str]:
    """Why the gate does not leave its stop at power-up, its program deciding by temporaries."""
    model = gate(folder, ("drive := pressed;", f"VAR_TEMP seen : BOOL; END_VAR\n{lines}"))
    built = build(model)
    situation = Situation(model, built.system, built.system.initial)
    reason = situation.why_not_move(
        next(m for m in model.moves if m.name == "gate: SHUT to BETWEEN")
    )
    return [] if reason is None else [one.text for one in reason.chain()]


def test_a_temporary_is_followed_to_the_line_that_computes_it(tmp_path: Path) -> None:
    told = of_a_gate(tmp_path, "seen := pressed;\ndrive := seen;")
    assert told == ["drive is FALSE", "seen is FALSE", "pressed is FALSE", "button is FALSE"]


def test_a_temporary_that_is_used_anew_is_not_explained(
    tmp_path: Path,
) -> None:
    # What the line read was TRUE; the reason is the signal, not what the name meant later.
    told = of_a_gate(tmp_path, "seen := shut;\ndrive := seen AND pressed;\nseen := FALSE;")
    assert told == ["drive is FALSE"]
