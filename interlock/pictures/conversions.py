"""The map of reachable configurations with the conversions between the road-fit forms."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field

from interlock.kernel.system import MoveKind
from interlock.model.build import Built
from interlock.pictures.dot import Graph, Markup, identifier, marked
from interlock.pictures.picture import Picture, assumption_notes
from interlock.pictures.shown.conversions import Configuration, Conversions, Place
from interlock.pictures.style import (
    DANGER,
    DANGER_FILL,
    INK,
    PALE,
    SAFE,
    SAFE_FILL,
    WHO,
    new_graph,
    stacked,
)

_UNSAFE = "UNSAFE"


@dataclass
class _Link:
    """Everything that leads from one configuration to another, and back."""

    kinds: set[MoveKind] = field(default_factory=set)
    forward: bool = False
    backward: bool = False
    steps: list[str] = field(default_factory=list)  # "A1": first passage of the first run


def draw_conversions(built: Built, conversions: Conversions) -> Picture:
    """The map; `built` gives the names."""
    model = built.model
    title = f"What {model.title} can turn into"
    graph = new_graph("conversions", title, _notes(built, conversions), nodesep="0.45")
    graph.defaults(
        "node", shape="box", style="rounded,filled", fillcolor="white", margin="0.14,0.06"
    )
    order = _from_the_start(conversions)
    for configuration in sorted(conversions.configurations, key=lambda c: order[c.place]):
        _draw_configuration(graph, built, conversions, configuration)
    links = _links(built, conversions, order)
    for source, target in sorted(links, key=lambda pair: (order[pair[0]], order[pair[1]])):
        _draw_link(graph, conversions, source, target, links[source, target])
    return Picture("conversions", "map of the reachable configurations and conversions", graph.text)


def _notes(built: Built, conversions: Conversions) -> Iterator[str]:
    requirements = built.requirements
    yield (
        f"Every reachable combination of {', '.join(conversions.machines)}: "
        f"{len(conversions.configurations)}, with {built.run_class.says}."
    )
    yield from assumption_notes(built.model)
    if conversions.left_out:
        yield (
            f"A slice: {', '.join(conversions.left_out)} left out, "
            "or there would be too many combinations to read."
        )
    if conversions.limit is not None:
        yield f"A part: the exploration was cut short ({conversions.limit})."
    for letter, run in zip("ABCDEFGH", conversions.runs, strict=False):
        yield (
            f"Heavy line {letter}1, {letter}2, …: a shortest run of the model to the goal of "
            f"{run.goal} ({requirements[run.goal].says}); {len(run.moves)} steps with all that the "
            "map leaves out."
        )
    if len(conversions.runs) > 1:
        yield "Each run starts where the one before it ended; the first at power-up."
    goals = {goal for c in conversions.configurations for goal in c.goals}
    if goals - set(conversions.common_goals):
        yield "Double outline and 'goal': some state of it fulfils that requirement's condition."
    if conversions.common_goals:
        common = ", ".join(conversions.common_goals)
        yield f"Not marked, since many configurations fulfil it: {common}."
    if built.model.unsafe is None:
        yield "The model does not say what is unsafe, so nothing is marked so."
    else:
        n_unsafe = sum(c.unsafe for c in conversions.configurations)
        yield (
            "Octagon and the word UNSAFE: some reachable state of it is what the model calls "
            f"unsafe; {n_unsafe or 'none'} here."
        )


def _from_the_start(conversions: Conversions) -> dict[Place, int]:
    """The configurations in the order in which the passages reach them."""
    after: dict[Place, list[Place]] = {}
    for passage in conversions.passages:
        after.setdefault(passage.source, []).append(passage.target)
    order = {conversions.initial: 0}
    queue = deque([conversions.initial])
    while queue:
        for place in after.get(queue.popleft(), []):
            if place not in order:
                order[place] = len(order)
                queue.append(place)
    for configuration in conversions.configurations:  # where an exploration was cut short
        order.setdefault(configuration.place, len(order))
    return order


def _links(
    built: Built, conversions: Conversions, order: dict[Place, int]
) -> dict[tuple[Place, Place], _Link]:
    kinds = {move.name: move.kind for move in built.system.moves}
    links: dict[tuple[Place, Place], _Link] = {}
    for passage in conversions.passages:
        link, forward = _link(links, passage.source, passage.target, order)
        link.kinds.add(kinds[passage.move])
        link.forward |= forward
        link.backward |= not forward
    for letter, run in zip("ABCDEFGH", conversions.runs, strict=False):
        for number, (source, target) in enumerate(zip(run.places, run.places[1:], strict=False), 1):
            link, _ = _link(links, source, target, order)
            link.steps.append(f"{letter}{number}")
    return links


def _link(
    links: dict[tuple[Place, Place], _Link], source: Place, target: Place, order: dict[Place, int]
) -> tuple[_Link, bool]:
    forward = order[source] < order[target]
    pair = (source, target) if forward else (target, source)
    return links.setdefault(pair, _Link()), forward


def _name(place: Place) -> str:
    return identifier(*(str(value) for value in place))


def _draw_configuration(
    graph: Graph, built: Built, conversions: Conversions, configuration: Configuration
) -> None:
    states = [
        (name, built.model.machines[name].states[value])
        for name, value in zip(conversions.machines, configuration.place, strict=True)
    ]
    rows = "".join(_state_row(row) for row in _in_rows(states))
    goals = [goal for goal in configuration.goals if goal not in conversions.common_goals]
    words = ["start"] if configuration.place == conversions.initial else []
    words += [f"goal {goal}" for goal in goals]
    words += [_UNSAFE] if configuration.unsafe else []
    look: dict[str, str] = {}
    if configuration.unsafe:
        look = {
            "shape": "octagon",
            "style": "filled",
            "fillcolor": DANGER_FILL,
            "color": DANGER,
            "penwidth": "3",
        }
    elif goals:
        look = {"fillcolor": SAFE_FILL, "color": SAFE}
    if goals:
        look["peripheries"] = "2"
    for word in _joined(words):
        color = DANGER if word == _UNSAFE else INK
        rows += f'<TR><TD COLSPAN="5"><FONT COLOR="{color}"><B>{marked(word)}</B></FONT></TD></TR>'
    table = f'<TABLE BORDER="0" CELLBORDER="0" CELLSPACING="0" CELLPADDING="1">{rows}</TABLE>'
    graph.node(_name(configuration.place), Markup(table), **look)


def _in_rows(states: list[tuple[str, str]]) -> list[list[tuple[str, str]]]:
    """Two machines in a row where there are more than two: a map is a tall picture."""
    n_columns = 2 if len(states) > 2 else 1
    return [states[n : n + n_columns] for n in range(0, len(states), n_columns)]


def _state_row(states: list[tuple[str, str]]) -> str:
    cells = '<TD WIDTH="10"></TD>'.join(
        f'<TD ALIGN="LEFT"><FONT COLOR="{PALE}">{marked(name)} </FONT></TD>'
        f'<TD ALIGN="LEFT"><B>{marked(state)}</B></TD>'
        for name, state in states
    )
    return f"<TR>{cells}</TR>"


def _joined(words: list[str]) -> list[str]:
    """The words in one row, UNSAFE in a row of its own."""
    plain = [word for word in words if word != _UNSAFE]
    return ([", ".join(plain)] if plain else []) + [word for word in words if word == _UNSAFE]


def _draw_link(
    graph: Graph, conversions: Conversions, source: Place, target: Place, link: _Link
) -> None:
    machines = zip(conversions.machines, source, target, strict=True)
    changed = [name for name, before, after in machines if before != after]
    who = [WHO[kind].says for kind in MoveKind if kind in link.kinds]
    told = marked(f"{', '.join(changed)}: {', '.join(who)}")
    steps = f"<B>{marked(' · '.join(link.steps))}</B>  " if link.steps else ""
    direction = "both" if link.forward and link.backward else "forward" if link.forward else "back"
    (kind,) = link.kinds if len(link.kinds) == 1 else (MoveKind.PLANT,)
    look = {
        "dir": direction,
        "style": WHO[kind].style,
        "color": WHO[kind].color if link.steps else PALE,
        "penwidth": "3.2" if link.steps else "1.1",
        "arrowsize": "0.55" if link.steps else "0.8",
        "weight": "8" if link.steps else "1",
    }
    graph.edge(_name(source), _name(target), stacked([f"{steps}{told}"]), **look)
