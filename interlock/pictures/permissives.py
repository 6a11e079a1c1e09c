"""The interlock dependency diagram: which signals permit which motion."""

from __future__ import annotations

from collections.abc import Iterator

from interlock.kernel.system import MoveKind
from interlock.model.build import Built
from interlock.pictures.dot import Graph, Markup, identifier, marked
from interlock.pictures.picture import Picture, assumption_notes
from interlock.pictures.shown.influence import Effect, Gate, Influence
from interlock.pictures.style import (
    MANDATORY,
    MANDATORY_FILL,
    NEUTRAL_FILL,
    PALE,
    WHO,
    new_graph,
    wrapped,
)

_SECTIONS = (
    ("must be TRUE", (Effect.PERMITS_ALWAYS,)),
    ("must be FALSE", (Effect.BLOCKS_ALWAYS,)),
    ("TRUE in some states", (Effect.PERMITS,)),
    ("FALSE in some states", (Effect.BLOCKS,)),
    ("TRUE in some, FALSE in others", (Effect.BOTH,)),
)
_NAMES_WIDTH = 58
_SAYS_WIDTH = 34


def draw_permissives(built: Built, influence: Influence) -> Iterator[Picture]:
    """For each machine that outputs take part in moving: its moves, the outputs, the signals."""
    machine_of = {move.name: move.machine for move in built.model.moves}
    for name, machine in built.model.machines.items():
        gates = [gate for gate in influence.gates if machine_of[gate.move] == name]
        if gates:
            says = f"{name}: {machine.says}" if machine.says else name
            title = f"Which signals permit the moves of {says}"
            graph = _draw(built, influence, title, gates)
            told = f"which signals permit the moves of {name}"
            yield Picture(f"permissives-{name}", told, graph.text)


def _draw(built: Built, influence: Influence, title: str, gates: list[Gate]) -> Graph:
    notes = [
        "Left to right: signals (and [memory] of earlier scans), output, moves that it permits.",
        "'must be' holds in every reachable state: without it the output never comes on.",
        "Solid line, 'on': the move needs the output on. Dashed line, 'off': it needs it off.",
        *assumption_notes(built.model),
    ]
    if not influence.complete:
        notes.append("Incomplete: a limit cut the exploration short.")
    graph = new_graph("permissives", title, notes, rankdir="LR", ranksep="0.5", nodesep="0.22")
    # A layout from left to right stacks what is separate from the bottom upwards.
    for effects in reversed(_alike(influence, gates)):
        own = [gate for gate in gates if gate.output == effects[0]]
        _draw_outputs(graph, built, influence, effects, own)
    return graph


def _alike(influence: Influence, gates: list[Gate]) -> list[list[str]]:
    """The outputs behind `gates`, those together that depend and act alike, as two wires do."""
    groups: dict[object, list[str]] = {}
    for effect in influence.effects:
        acts = tuple((g.move, g.needs_on, g.needs_off) for g in gates if g.output == effect)
        depends = tuple(influence.cells.get((c.name, effect)) for c in influence.causes)
        if acts:
            groups.setdefault((acts, depends), []).append(effect)
    return list(groups.values())


def _draw_outputs(
    graph: Graph, built: Built, influence: Influence, effects: list[str], gates: list[Gate]
) -> None:
    lines = []
    for effect in effects:
        output = built.model.outputs.get(effect.partition(" ")[0])
        lines.append(effect)
        lines += wrapped(output.says, _SAYS_WIDTH) if output is not None and output.says else []
    effect = effects[0]
    name = identifier("output", effect)
    look = {"style": "filled", "fillcolor": MANDATORY_FILL, "color": MANDATORY, "margin": "0.2,0.1"}
    graph.node(name, "\n".join(lines), shape="cds", **look)
    signals = identifier("signals", effect)
    graph.node(signals, _signals(influence, effect), shape="plain")
    graph.edge(signals, name, penwidth="1.6")
    for needs_on, words in ((True, "on"), (False, "off")):
        moves = [g.move for g in gates if (g.needs_on if needs_on else g.needs_off)]
        if moves:
            target = identifier("moves", effect, words)
            graph.node(target, _moves(built, moves), shape="plain")
            graph.edge(name, target, words, style="solid" if needs_on else "dashed")


def _signals(influence: Influence, effect: str) -> Markup:
    rows = "".join(_section(influence, effect, *section) for section in _SECTIONS)
    if not rows:
        rows = '<TR><TD ALIGN="LEFT">no signal: it never changes</TD></TR>'
    return _box(rows)


def _section(influence: Influence, effect: str, title: str, effects: tuple[Effect, ...]) -> str:
    names = [
        f"[{cause.name}]" if cause.is_memory else cause.name
        for cause in influence.causes
        if influence.cells.get((cause.name, effect)) in effects
    ]
    if not names:
        return ""
    lines = "".join(f'{marked(line)}<BR ALIGN="LEFT"/>' for line in _listed(names))
    return (
        f'<TR><TD ALIGN="LEFT" VALIGN="TOP" BGCOLOR="{NEUTRAL_FILL}">{marked(title)}</TD>'
        f'<TD ALIGN="LEFT" BALIGN="LEFT">{lines}</TD></TR>'
    )


def _listed(names: list[str]) -> list[str]:
    """Names in lines that keep 'mode = AUTO' together."""
    lines = [""]
    for name in names:
        if lines[-1] and len(lines[-1]) + 2 + len(name) > _NAMES_WIDTH:
            lines[-1] += ","
            lines.append("")
        lines[-1] += (", " if lines[-1] else "") + name
    return lines


def _moves(built: Built, names: list[str]) -> Markup:
    moves = {move.name: move for move in built.model.moves}
    return _box("".join(_move(moves[name].kind, name, moves[name].says) for name in names))


def _move(kind: MoveKind, name: str, says: str) -> str:
    told = "<BR ALIGN='LEFT'/>".join(marked(x) for x in wrapped(says, _SAYS_WIDTH))
    return (
        f'<TR><TD ALIGN="LEFT" BGCOLOR="{NEUTRAL_FILL}">{WHO[kind].says}</TD>'
        f'<TD ALIGN="LEFT"><B>{marked(name)}</B></TD>'
        f'<TD ALIGN="LEFT" BALIGN="LEFT"><FONT COLOR="{PALE}">{told}</FONT></TD></TR>'
    )


def _box(rows: str) -> Markup:
    return Markup(
        '<TABLE BORDER="1" CELLBORDER="1" CELLSPACING="0" CELLPADDING="3" COLOR="#9a9a9a">'
        f"{rows}</TABLE>"
    )
