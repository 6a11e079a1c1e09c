"""Build a fault tree from plain mappings, as a file gives them, or from cut sets.

A file's shape::

    title: …                      # optional, like `source` and `assumptions` (a list)
    top: G1
    gates:
      G1: {says: …, any_of: [A, G2]}
      G2: {all_of: [B, G3]}       # also: {at_least: 2, of: [B, C, D]},
      G3: {not: H}                # {exactly_one_of: [B, C]}
    events:
      A: {says: …, probability: 1e-4, source: …}
      B: {rate_per_h: 1e-6, exposure_h: 8760, kind: latent}   # or fault (as if absent), human
    house:
      H: {says: …, occurs: true}
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import replace
from typing import Any

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.reliability.fault_tree import (
    BasicEvent,
    EventKind,
    FaultTree,
    Gate,
    GateKind,
    HouseEvent,
    Node,
    find_cycle,
)

Path = tuple[str | int, ...]

_TREE_KEYS = ("title", "source", "assumptions", "top", "gates", "events", "house")
_EVENT_KEYS = ("says", "source", "kind", "probability", "rate_per_h", "exposure_h")
_HOUSE_KEYS = ("says", "occurs")
_SECTIONS = ("gates", "events", "house")
_KINDS = {
    "any_of": GateKind.ANY,
    "all_of": GateKind.ALL,
    "at_least": GateKind.AT_LEAST,
    "exactly_one_of": GateKind.EXACTLY_ONE,
    "not": GateKind.NOT,
}
_GATE_KEYS = ("says", *_KINDS, "of")


def tree_from_mapping(data: object, place_of: Callable[[Path], Place]) -> FaultTree:
    """Build a fault tree from what a file says.

    Parameters
    ----------
    data : object
        Mappings, lists, text, numbers and truth values; see the module's head for the shape.
    place_of : callable
        Gives the place of the entry at a path such as ``("gates", "G1", "any_of", 0)``. It is
        asked only for paths that exist in `data`.

    Returns
    -------
    FaultTree
        Its `warnings` name the gates and events that the top event does not need.

    Raises
    ------
    InputError
        With every mistake that was found.
    """
    reader = _Reader(place_of)
    if not isinstance(data, Mapping):
        reader.mistake((), f"expected a fault tree with {', '.join(_TREE_KEYS)}")
        raise InputError(reader.mistakes)
    tree = _read_tree(reader, data)
    if reader.mistakes or tree is None:
        raise InputError(reader.mistakes)
    return tree


class _Reader:
    """Collects mistakes; reads single entries, giving None where there is one."""

    def __init__(self, place_of: Callable[[Path], Place]) -> None:
        self._place_of = place_of
        self.mistakes = MistakeList()

    def note(self, path: Path, says: str) -> Mistake:
        return Mistake(self._place_of(path), says)

    def mistake(self, path: Path, says: str) -> None:
        self.mistakes.append(self.note(path, says))

    def entries(self, path: Path, data: object) -> dict[str, Any]:
        """The entries of a mapping whose keys are names."""
        if not isinstance(data, Mapping):
            self.mistake(path, f"expected a mapping, found {_shown(data)}")
            return {}
        for key in data:
            if not isinstance(key, str):
                self.mistake((*path, key), f"a name must be text, found {_shown(key)}; quote it")
        return {key: value for key, value in data.items() if isinstance(key, str)}

    def fields(self, path: Path, data: object, known: Collection[str]) -> dict[str, Any]:
        """The entries of a mapping of which only some keys are known."""
        fields = self.entries(path, data)
        for key in fields:
            if key not in known:
                self.mistake((*path, key), f"'{key}' is not known here{nearest(key, known)}")
        return {key: value for key, value in fields.items() if key in known}

    def text(self, path: Path, fields: Mapping[str, Any], key: str) -> str:
        value = fields.get(key, "")
        if isinstance(value, str):
            return value
        self.mistake((*path, key), f"{key}: expected text, found {_shown(value)}")
        return ""

    def number(self, path: Path, key: str, value: object) -> float | None:
        """A finite number that is not negative."""
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if isinstance(value, int | float) and is_number and 0 <= value <= sys.float_info.max:
            return float(value)
        self.mistake((*path, key), f"{key}: expected a number, 0 or more, found {_shown(value)}")
        return None

    def names(self, path: Path, value: object) -> tuple[str, ...]:
        """A list of names, each once and at least one."""
        if not isinstance(value, list | tuple) or not value:
            self.mistake(path, f"expected a list of gates and events, found {_shown(value)}")
            return ()
        found: list[str] = []
        for number, name in enumerate(value):
            if not isinstance(name, str):
                self.mistake((*path, number), f"expected a name, found {_shown(name)}")
            elif name in found:
                self.mistake((*path, number), f"'{name}' is listed twice")
            else:
                found.append(name)
        return tuple(found)


def _shown(value: object) -> str:
    if value is None:
        return "nothing"
    text = str(value)
    return f"'{text[:40]}…'" if len(text) > 40 else f"'{text}'"


def _read_tree(reader: _Reader, data: Mapping[Any, Any]) -> FaultTree | None:
    fields = reader.fields((), data, _TREE_KEYS)
    nodes = _read_nodes(reader, fields)
    top = fields.get("top")
    if top is None:
        path: Path = ("top",) if "top" in fields else ()
        reader.mistake(path, "top: expected the name of the top event")
    elif not isinstance(top, str):
        reader.mistake(("top",), f"top: expected a name, found {_shown(top)}")
    elif top not in nodes:
        reader.mistake(("top",), f"top: '{top}' is not declared{nearest(top, nodes)}")
    _check_inputs(reader, fields, nodes)
    assumptions = _read_assumptions(reader, fields)
    title, source = reader.text((), fields, "title"), reader.text((), fields, "source")
    if reader.mistakes:
        return None
    tree = FaultTree(str(top), nodes, title, source, assumptions)
    warnings = _unused(reader, tree, fields)
    return FaultTree(str(top), nodes, title, source, assumptions, warnings)


def _read_assumptions(reader: _Reader, fields: Mapping[str, Any]) -> tuple[str, ...]:
    value = fields.get("assumptions", [])
    if not isinstance(value, list | tuple):
        reader.mistake(("assumptions",), f"expected a list of sentences, found {_shown(value)}")
        return ()
    for number, says in enumerate(value):
        if not isinstance(says, str):
            reader.mistake(("assumptions", number), f"expected a sentence, found {_shown(says)}")
    return tuple(says for says in value if isinstance(says, str))


def _read_nodes(reader: _Reader, fields: Mapping[str, Any]) -> dict[str, Node]:
    readers: dict[str, Callable[[_Reader, Path, str, Any], Node]] = {
        "gates": _read_gate,
        "events": _read_event,
        "house": _read_house,
    }
    nodes: dict[str, Node] = {}
    declared: dict[str, str] = {}
    for section in _SECTIONS:
        if section not in fields:
            continue
        for name, entry in reader.entries((section,), fields[section]).items():
            path: Path = (section, name)
            if name in declared:
                reader.mistake(path, f"'{name}' is already declared among {declared[name]}")
                continue
            declared[name] = section
            if isinstance(entry, Mapping):
                nodes[name] = readers[section](reader, path, name, entry)
            else:
                reader.mistake(path, f"'{name}': expected a mapping, found {_shown(entry)}")
                nodes[name] = HouseEvent(name, False)
    return nodes


def _read_gate(reader: _Reader, path: Path, name: str, entry: object) -> Gate:
    """Where a mistake is found, a gate without inputs, so that its name is known all the same."""
    fields = reader.fields(path, entry, _GATE_KEYS)
    says = reader.text(path, fields, "says")
    empty = Gate(name, GateKind.ANY, (), says=says)
    given = [key for key in _KINDS if key in fields]
    if len(given) != 1:
        found = f"found {' and '.join(given)}" if given else "found none"
        reader.mistake(path, f"gate '{name}': expected one of {', '.join(_KINDS)}; {found}")
        return empty
    key, kind = given[0], _KINDS[given[0]]
    if kind is GateKind.NOT:
        below = fields[key]
        if isinstance(below, str):
            return Gate(name, kind, (below,), says=says)
        reader.mistake((*path, key), f"not: expected one name, found {_shown(below)}")
        return empty
    if kind is GateKind.AT_LEAST:
        return _read_vote(reader, path, empty, fields)
    if "of" in fields:
        reader.mistake((*path, "of"), "'of' goes with at_least only")
    return Gate(name, kind, reader.names((*path, key), fields[key]), says=says)


def _read_vote(reader: _Reader, path: Path, empty: Gate, fields: Mapping[str, Any]) -> Gate:
    k = fields["at_least"]
    if "of" not in fields:
        reader.mistake(path, f"gate '{empty.name}': at_least needs a list 'of' gates and events")
        return empty
    inputs = reader.names((*path, "of"), fields["of"])
    if isinstance(k, int) and not isinstance(k, bool) and 1 <= k <= len(inputs):
        return replace(empty, kind=GateKind.AT_LEAST, inputs=inputs, k=k)
    if inputs:
        expected = f"expected a whole number from 1 to {len(inputs)}"
        reader.mistake((*path, "at_least"), f"at_least: {expected}, found {_shown(k)}")
    return empty


def _read_event(reader: _Reader, path: Path, name: str, entry: object) -> BasicEvent:
    fields = reader.fields(path, entry, _EVENT_KEYS)
    says, source = reader.text(path, fields, "says"), reader.text(path, fields, "source")
    kind = _read_kind(reader, path, fields)
    given = [key for key in ("probability", "rate_per_h", "exposure_h") if key in fields]
    figures = {key: reader.number(path, key, fields[key]) for key in given}
    p = figures.get("probability")
    if given == ["probability"]:
        if p is not None and p > 1:
            reader.mistake((*path, "probability"), f"probability: expected 0 to 1, found {p:g}")
        return BasicEvent(name, min(p or 0.0, 1.0), says, source, kind)
    if given == ["rate_per_h", "exposure_h"]:
        rate, exposure = figures["rate_per_h"] or 0.0, figures["exposure_h"] or 0.0
        return BasicEvent.from_rate(name, rate, exposure, says, source, kind)
    reader.mistake(
        path, f"event '{name}': expected either probability or rate_per_h and exposure_h"
    )
    return BasicEvent(name, 0.0, says, source, kind)


def _read_kind(reader: _Reader, path: Path, fields: Mapping[str, Any]) -> EventKind:
    known = {kind.value: kind for kind in EventKind}
    word = fields.get("kind", EventKind.FAULT.value)
    if isinstance(word, str) and word in known:
        return known[word]
    reader.mistake((*path, "kind"), f"kind: {_shown(word)} is no kind{nearest(str(word), known)}")
    return EventKind.FAULT


def _read_house(reader: _Reader, path: Path, name: str, entry: object) -> HouseEvent:
    fields = reader.fields(path, entry, _HOUSE_KEYS)
    occurs = fields.get("occurs")
    if not isinstance(occurs, bool):
        at: Path = (*path, "occurs") if "occurs" in fields else path
        reader.mistake(at, f"'{name}' occurs: expected true or false, found {_shown(occurs)}")
    return HouseEvent(name, occurs is True, reader.text(path, fields, "says"))


def _check_inputs(reader: _Reader, fields: Mapping[str, Any], nodes: Mapping[str, Node]) -> None:
    gates = {name: node for name, node in nodes.items() if isinstance(node, Gate)}
    for name, gate in gates.items():
        entry = fields["gates"][name]
        for below in gate.inputs:
            if below not in nodes:
                path = _path_of_input(gate, entry, below)
                reader.mistake(path, f"'{below}' is not declared{nearest(below, nodes)}")
    _check_cycles(reader, {name: gate.inputs for name, gate in gates.items()})


def _path_of_input(gate: Gate, entry: Mapping[str, Any], below: str) -> Path:
    word = next(word for word, kind in _KINDS.items() if kind is gate.kind)
    if gate.kind is GateKind.NOT:
        return ("gates", gate.name, word)
    key = "of" if gate.kind is GateKind.AT_LEAST else word
    return ("gates", gate.name, key, entry[key].index(below))


def _check_cycles(reader: _Reader, inputs: dict[str, tuple[str, ...]]) -> None:
    """One mistake for each cycle; a found one is cut open to find the others."""
    while cycle := find_cycle(inputs):
        reader.mistake(("gates", cycle[0]), f"a gate feeds itself: {' → '.join(cycle)}")
        closing = cycle[-2]
        inputs[closing] = tuple(name for name in inputs[closing] if name != cycle[0])


def _unused(reader: _Reader, tree: FaultTree, fields: Mapping[str, Any]) -> tuple[Mistake, ...]:
    used = {node.name for node in tree.walk()}
    return tuple(
        reader.note((section, name), f"'{name}' is not used by the top event '{tree.top}'")
        for section in _SECTIONS
        for name in fields.get(section, {})
        if name not in used
    )


def tree_from_cut_sets(
    top: str,
    cut_sets: Iterable[Collection[str]],
    probabilities: Mapping[str, float | BasicEvent],
) -> FaultTree:
    """A tree whose top event occurs where all of at least one cut set occurs.

    Parameters
    ----------
    top : str
        Name of the top event.
    cut_sets : iterable of collection of str
        Need not be minimal. Without any the top event never occurs; with an empty one, always.
    probabilities : mapping of str to float or BasicEvent
        Of each event, 0..1. Events that are in no cut set are left out.

    Raises
    ------
    ValueError
        If an event has no probability, or is named like the top event.
    """
    sets = sorted({tuple(sorted(set(one))) for one in cut_sets}, key=lambda one: (len(one), one))
    names = sorted({name for one in sets for name in one})
    missing = [name for name in names if name not in probabilities]
    if missing:
        raise ValueError(f"no probability for {', '.join(missing)}")
    if top in names:
        raise ValueError(f"'{top}' is the top event and an event of a cut set")
    nodes: dict[str, Node] = {}
    for name in names:
        figure = probabilities[name]
        nodes[name] = figure if isinstance(figure, BasicEvent) else BasicEvent(name, figure)
    inputs: list[str] = []
    for number, one in enumerate(sets, start=1):
        if len(one) == 1:
            inputs += one
            continue
        gate = f"{top}.{number}"
        while gate in nodes:
            gate += "'"
        nodes[gate] = Gate(gate, GateKind.ALL, one, says=" and ".join(one))
        inputs.append(gate)
    nodes[top] = Gate(top, GateKind.ANY, tuple(inputs))
    return FaultTree(top, nodes)
