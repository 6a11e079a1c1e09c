"""Machines that were taken over, as the text of a model file."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from interlock.commands.export.read_scxml import TakenMachine, TakenMove
from interlock.model.durations import GOES_ON


def to_yaml(machines: tuple[TakenMachine, ...], quoted: Callable[[str], str]) -> str:
    """The machines as the ``plant`` and ``controls`` of a model file.

    Parameters
    ----------
    machines : tuple of TakenMachine
    quoted : callable
        Writes a text as a YAML scalar.
    """
    lines = [
        "# A chart does not tell whose a move is. Without 'by' it is the plant's own, and happens",
        "# in the end where its condition stays true.",
    ]
    plant = [m for m in machines if not m.is_control]
    controls = [m for m in machines if m.is_control]
    if plant:
        lines.append("plant:")
    for machine in plant:
        lines.append(f"  {machine.name}:")
        if machine.says:
            lines.append(f"    says: {quoted(machine.says)}")
        lines.append(f"    states: [{', '.join(quoted(s) for s in machine.states)}]")
        if machine.initial != machine.states[0]:
            lines.append(f"    initial: {quoted(machine.initial)}")
        if machine.moves:
            lines.append("    moves:")
        lines += [f"      - {_move_yaml(move, quoted)}" for move in machine.moves]
    if controls:
        lines.append("controls:")
    for machine in controls:
        lines.append(f"  {machine.name}: {{{', '.join(_control_yaml(machine, quoted))}}}")
    return "\n".join(lines) + "\n"


def _control_yaml(machine: TakenMachine, quoted: Callable[[str], str]) -> Iterator[str]:
    if machine.says:
        yield f"says: {quoted(machine.says)}"
    first = machine.states[0]
    if set(machine.states) == {"FALSE", "TRUE"}:
        first = "FALSE"
    else:
        yield f"positions: [{', '.join(map(quoted, machine.states))}]"
    if machine.initial != first:
        yield f"initial: {quoted(machine.initial)}"
    if machine.released is not None:
        yield f"released: {quoted(machine.released)}"
    if any(move.by == "driver" for move in machine.moves):
        yield "by: driver"
    # Every move has the same one, or the chart would have been refused.
    guards = {move.when for move in machine.moves} - {None}
    yield from (f"when: {quoted(guard)}" for guard in guards if guard is not None)


def _move_yaml(move: TakenMove, quoted: Callable[[str], str]) -> str:
    parts = [f"from: {quoted(move.source)}", f"to: {quoted(move.target)}"]
    if move.when is not None:
        parts.append(f"when: {quoted(move.when)}")
    if move.by in ("operator", "driver", "human"):
        parts.append(f"by: {move.by}")
    if move.also:
        also = ", ".join(f"{name}: {quoted(value)}" for name, value in move.also)
        parts.append(f"also: {{{also}}}")
    parts.append(f"name: {quoted(move.event)}")
    if move.says:
        parts.append(f"says: {quoted(move.says)}")
    if move.takes is not None:
        parts.append(f"seconds: [{move.takes.least!r}, {move.takes.greatest!r}]")
        if move.takes.source is not None:
            parts.append(f"source: {quoted(move.takes.source)}")
        parts += ["assumed: true"] * move.takes.assumed
        parts += [f"interrupted: {GOES_ON}"] * move.takes.goes_on
    return "{" + ", ".join(parts) + "}"
