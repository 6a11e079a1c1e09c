"""The model file that is made of a list of signals and a program, with comments that teach."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interlock.base.visible import in_one_line
from interlock.commands.new.against_program import Matched, Wire
from interlock.commands.new.signal_list import Signal
from interlock.model.schema_fields import PROGRAM_NAME
from interlock.st.types import BOOL

_NAME = re.compile(PROGRAM_NAME)
_MOST_INSIDE = 12
_MOST_EXAMPLES = 2

_ON_INPUTS = """
# What the program is told. Each input is free: it has any value in any scan, so what holds here
# holds whatever the plant does. Once the plant is modelled, say what an input reads:
#   plant:
#     door: {states: [shut, open], moves: [{from: shut, to: open}, {from: open, to: shut}]}
#   sensors:
#     door_shut: {reads: door = shut, says: Door is shut}""".splitlines()
_ON_OUTPUTS = """
# What the program decides. The colour of a lamp tells what it means: red danger, yellow abnormal,
# green normal, blue mandatory action, white neutral (IEC 60073).""".splitlines()
_ON_REQUIREMENTS = """
# YOUR REQUIREMENTS GO HERE, in place of R1. One pattern each; 'interlock explain never' and the
# like tell what a pattern demands. For example:""".splitlines()


@dataclass(frozen=True)
class Origin:
    """What a model is made of.

    Attributes
    ----------
    title : str
    controller : sequence of str
    root : str
        Empty where none is named.
    made_from : sequence of str
        What the head of the file says it was made from.
    matrix : sequence of str
        Lines on a matrix of causes and effects.
    """

    title: str
    controller: Sequence[str]
    root: str
    made_from: Sequence[str]
    matrix: Sequence[str] = ()


def model_text(origin: Origin, matched: Matched) -> str:
    """The text of the model file."""
    return "\n".join(_lines(origin, matched)) + "\n"


def _lines(origin: Origin, matched: Matched) -> Iterator[str]:
    yield "# yaml-language-server: $schema=model.schema.json"
    yield from (f"# {in_one_line(line)}" for line in origin.made_from)
    yield f"title: {quoted(origin.title)}"
    names = [quoted(name) for name in origin.controller]
    is_plain = len(names) == 1 and "/" not in names[0]
    yield f"controller: {names[0]}" if is_plain else f"controller: [{', '.join(names)}]"
    if origin.root:
        yield f"root: {origin.root}"
    if matched.differences:
        yield ""
        yield "# Where the list and the program differ. The model follows the program; mend one of"
        yield "# the two and take the line out."
        yield from (f"#   {difference}" for difference in matched.differences)
    yield ""
    yield "assumptions:"
    yield "  - Every input may have any value in any scan; nothing is known of the plant yet."
    yield "cautions:"
    yield "  - The model is not the plant. What was not modelled was not explored."
    yield from _inputs(matched)
    yield from _outputs(matched)
    yield from origin.matrix
    yield from _requirements(matched)


def _inputs(matched: Matched) -> Iterator[str]:
    yield from _ON_INPUTS
    yield from _section("sensors", matched, [w for w in matched.wires if w.is_input])
    yield from _absent([s for s in matched.missing if s.direction != "output"])
    if matched.loose:
        yield "# Nothing in the program gives these a value. Name one above, like the inputs, where"
        yield "# it is wired all the same:"
        yield from _listed(matched.loose)


def _outputs(matched: Matched) -> Iterator[str]:
    yield from _ON_OUTPUTS
    yield from _section("outputs", matched, [w for w in matched.wires if not w.is_input])
    yield from _absent([s for s in matched.missing if s.direction == "output"])
    if matched.inside:
        yield "# The program has no outputs. Name here what is wired all the same, as 'motor: {}'"
        yield "# would; requirements may name whatever it has inside:"
        yield from _listed(matched.inside)


def _listed(names: Sequence[str]) -> Iterator[str]:
    more = ", …" if len(names) > _MOST_INSIDE else ""
    yield f"#   {', '.join(names[:_MOST_INSIDE])}{more}"


def _section(key: str, matched: Matched, wires: Sequence[Wire]) -> Iterator[str]:
    named = [wire for wire in wires if _NAME.fullmatch(wire.declared.name)]
    stays = [wire for wire in named if not wire.left_out]
    yield f"{key}:" if stays else f"# {key}:"
    for wire in stays:
        about = "" if wire.signal is None else _about(wire.signal)
        lacks = matched.has_list and wire.signal is None
        yield f"  {wire.declared.name}: {{{about}}}" + ("  # not in the list" if lacks else "")
    for wire in named:
        if wire.left_out:
            yield f"  # {wire.declared.name}: {{}}  # left out: {wire.left_out}"


def _absent(signals: Sequence[Signal]) -> Iterator[str]:
    for signal in signals:
        yield f"  # {signal.name}: {{{_about(signal)}}}  # not in the program"


def _about(signal: Signal) -> str:
    facts = {
        "lamp": signal.lamp,
        "says": quoted(signal.says) if signal.says else "",
        "address": quoted(signal.address) if signal.address else "",
        "terminal": quoted(signal.terminal) if signal.terminal else "",
    }
    return ", ".join(f"{key}: {value}" for key, value in facts.items() if value)


def quoted(text: str) -> str:
    """The text as YAML takes it, whatever is in it."""
    return "'" + in_one_line(text).replace("'", "''") + "'"


def _requirements(matched: Matched) -> Iterator[str]:
    bools = [w for w in matched.wires if w.declared.type == BOOL]
    bools = [w for w in bools if not w.declared.name.startswith("%")]
    inputs = [w.declared.name for w in bools if w.is_input][:_MOST_EXAMPLES]
    drives = [w for w in bools if not w.is_input and not (w.signal and w.signal.lamp)]
    drives = drives or [w for w in bools if not w.is_input]
    outputs = ([w.declared.name for w in drives] or list(matched.inside))[:_MOST_EXAMPLES]
    given = inputs[0] if inputs else "door_open"
    one, other = (*outputs, "valve", "pump")[:2] if outputs else ("valve", "pump")
    yield from _ON_REQUIREMENTS
    yield f"#   R2: {{says: never both at once, never: {one} AND {other}, judged: after scan}}"
    yield f"#   R3: {{says: off while {given}, when: {given}, never: {one}, judged: after scan}}"
    yield f"#   R4: {{says: comes at last, whenever: {given}, leads_to: {one}}}"
    yield "requirements:"
    if outputs:
        says = quoted(f"{one} can always be switched off again")
        yield f"  R1: {{says: {says}, can_still: {quoted(f'NOT {one}')}}}"
    else:
        yield "  R1: {says: The program's arithmetic is in order; say more here, always: 'TRUE'}"
