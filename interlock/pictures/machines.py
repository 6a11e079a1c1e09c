"""The state diagram of each machine of the plant."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.model.model import Machine, Model, ModelMove
from interlock.pictures.dot import Graph, identifier, marked
from interlock.pictures.picture import Picture
from interlock.pictures.style import (
    WHO,
    code,
    draw_states,
    line_legend,
    new_graph,
    stacked,
    wrapped,
    wrapped_expression,
)
from interlock.st.evaluate import as_written
from interlock.st.typed import Expression
from interlock.st.write import write_expression

_SAYS_WIDTH, _GUARD_WIDTH = 34, 34


def draw_machines(model: Model) -> Iterator[Picture]:
    """A picture of each machine; controls have none, as any position may follow any other."""
    for machine in model.machines.values():
        if not machine.is_control:
            yield draw_machine(model, machine)


def draw_machine(model: Model, machine: Machine) -> Picture:
    """The states of one machine and its moves with their guards and what else they change."""
    moves = [move for move in model.moves if move.machine == machine.name]
    says = f": {machine.says}" if machine.says else ""
    notes = [
        f"Lines: {line_legend(move.kind for move in moves)}.",
        "Bold outline and the word 'start': the state at power-up.",
        "A move without 'when' is always possible from its state.",
    ]
    graph = new_graph(machine.name, f"{machine.name}{says}", notes, rankdir="TB", nodesep="0.5")
    draw_states(graph, ((identifier(one), one) for one in machine.states), machine.initial)
    for move in moves:
        _draw_move(graph, machine, move)
    return Picture(f"machine-{machine.name}", f"states of {machine.name}{says}", graph.text)


def _draw_move(graph: Graph, machine: Machine, move: ModelMove) -> None:
    target = identifier(machine.states[move.target])
    assert move.source is not None  # only the moves of controls leave it open
    source = identifier(machine.states[move.source])
    graph.edge(source, target, stacked(_told(move)), **WHO[move.kind].edge)


def _told(move: ModelMove) -> Iterator[str]:
    first, *others = wrapped(f"{WHO[move.kind].says}: {move.says or move.name}", _SAYS_WIDTH)
    who, _, rest = first.partition(":")
    yield f"<B>{marked(who)}</B>:{marked(rest)}"
    yield from (marked(line) for line in others)
    if move.when is not None:
        guard = _written(move.when.tree)
        yield from (code(line) for line in wrapped_expression(f"when {guard}", _GUARD_WIDTH))
    for name, formula in move.also.items():
        text = f"also {name} := {_written(formula.tree)}"
        yield from (code(line) for line in wrapped_expression(text, _GUARD_WIDTH))


def _written(tree: Expression) -> str:
    return write_expression(as_written(tree))
