"""Plants that went out as charts and came back, state by state against what they were."""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Iterator
from pathlib import Path

from interlock.base.errors import InputError
from interlock.commands.export.adopt import quoted
from interlock.commands.export.plant_yaml import to_yaml
from interlock.commands.export.read_scxml import read_scxml
from interlock.commands.export.write_scxml import to_scxml
from interlock.model.load import load
from interlock.model.model import Model
from tests.second_opinion.drawing import Drawn
from tests.second_opinion.world import Class, Kind, State, World

# Beginnings of losses after which the plant does something else than it did.
_OTHERWISE = ("the guard of", "what '", "that some controls bounce")
# After this one it does the same, but owes more.
_OWING = "that some moves of the plant need not happen"
EVERYBODY = Class((), 0, human=True)


def charted(drawn: Drawn, model: Model, folder: Path, counts: Counter[str]) -> Iterator[str]:
    """What the plant of `model` does otherwise after it was a chart, in words."""
    chart = to_scxml(model)
    file = folder / "plant.scxml"
    file.write_text(chart.text, encoding="utf-8")
    counts["models"] += 1
    listed = [loss for loss in chart.losses if loss.startswith(_OTHERWISE)]
    try:
        plant = to_yaml(read_scxml(file), quoted)
    except InputError as error:
        counts["refused"] += 1
        yield f"the chart is refused: {error.mistakes[0]}"
        return
    before, after = World(model, EVERYBODY), World(_with(plant, drawn, folder), EVERYBODY)
    differs = _difference(before, after, with_owed=_OWING not in chart.losses)
    counts["with a loss that is listed" if listed else "without a loss"] += 1
    counts["with machines carried along"] += any(move.also for move in model.moves)
    counts["with buttons that start pressed"] += any(
        machine.is_bool and machine.initial for machine in model.machines.values()
    )
    counts["moves"] += len(model.moves)
    if differs and not listed:
        yield f"{differs}:\n{drawn.yaml}\n{chart.text}\n{plant}"


def _with(plant: str, drawn: Drawn, folder: Path) -> Model:
    """The model with another plant and controls."""
    head, rest = drawn.yaml.split("plant:\n")
    start = min(rest.index(key) for key in ("terms:\n", "sensors:\n") if key in rest)
    other = Drawn(head + plant + rest[start:], drawn.program, drawn.run_class)
    other.write(folder / "back")
    return load(folder / "back")


def _difference(one: World, other: World, with_owed: bool) -> str:
    """The first state from which something else can happen; empty where there is none."""
    if one.first != other.first:
        return f"begins in {other.first} in place of {one.first}"
    seen, todo = {one.first}, deque([one.first])
    while todo:
        state = todo.popleft()
        ways, others = _ways(one, state, with_owed), _ways(other, state, with_owed)
        if ways != others:
            return f"in {state}: {sorted(others)} in place of {sorted(ways)}"
        for _, _, after in ways:
            if after not in seen:
                seen.add(after)
                todo.append(after)
    return ""


def _ways(world: World, state: State, with_owed: bool) -> set[tuple[str, bool, State]]:
    """What can happen, whether it is owed, and what it leads to; names of moves may differ."""
    truth = world.truth(state)
    owed = world.owes(state, truth)
    return {
        ("move" if act.kind is Kind.MOVE else act.name, with_owed and act in owed, after)
        for act, after in world.successors(state, truth)
    }
