"""A list of signals beside the program that is to read and write them: what fits, what does not."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from interlock.base.errors import Mistake, Place, nearest
from interlock.commands.new.signal_list import Signal, shared_addresses
from interlock.model.value_classes import MOST_CLASSES
from interlock.st.copies import written_in
from interlock.st.elaborate.addresses import plain_address
from interlock.st.idle import without_idle, without_real_outputs
from interlock.st.inference import infer_ranges
from interlock.st.load import Loaded
from interlock.st.typed import Declared, Program
from interlock.st.types import BOOL, IntType, RealType, Type
from interlock.st.wired import wired_by


@dataclass(frozen=True)
class Wire:
    """An input or output of the program, with its line of the list where there is one.

    Attributes
    ----------
    declared : Declared
    signal : Signal or None
    left_out : str
        Why the model does without it; empty for what stands in the model.
    """

    declared: Declared
    signal: Signal | None
    left_out: str = ""

    @property
    def is_input(self) -> bool:
        """Whether the program reads it."""
        return self.declared.kind == "VAR_INPUT"


@dataclass(frozen=True)
class Matched:
    """The program's inputs and outputs in its order, and where the list says otherwise.

    Attributes
    ----------
    wires : tuple of Wire
    missing : tuple of Signal
        Those of the list that the program does not have.
    differences : tuple of Mistake
        Each with the line of the list or program.
    has_list : bool
    inside : tuple of str
        What is TRUE or FALSE and written inside a program that has no outputs.
    loose : tuple of str
        Plain variables that the program reads and nothing in it gives a value.
    """

    wires: tuple[Wire, ...]
    missing: tuple[Signal, ...]
    differences: tuple[Mistake, ...]
    has_list: bool = True
    inside: tuple[str, ...] = ()
    loose: tuple[str, ...] = ()


def match(signals: Sequence[Signal], project: Loaded) -> Matched:
    """Put a list of signals beside a program.

    Names are compared without regard to the case of letters, as the standard does. What is in
    one of the two alone, and what both say and say differently, is a difference.
    """
    program = project.program
    outputs = [v for v in program.variables if v.kind == "VAR_OUTPUT"]
    known = {v.name.casefold(): v for v in (*program.inputs, *outputs)}
    addresses = _addresses(project)
    at_address = {a: v for v in known.values() if (a := plain_address(addresses.get(v.place, "")))}
    # What the program reads by its address alone has no other name there.
    unnamed = {plain_address(v.name): v for v in known.values() if v.name.startswith("%")}
    found: dict[str, Signal] = {}
    missing = []
    differences = shared_addresses(signals)
    for signal in signals:
        declared = known.get(signal.name.casefold()) or unnamed.get(signal.plain)
        if declared is None:
            missing.append(signal)
            differences.append(_not_in_program(signal, list(known.values()), at_address, project))
            continue
        found[declared.name] = signal
        address = addresses.get(declared.place, "")
        differences += (Mistake(signal.place, t) for t in _unlike(signal, declared, address))
    why = _left_out(program, outputs, found)
    wires = tuple(Wire(v, found.get(v.name), why.get(v.name, "")) for v in known.values())
    for wire in wires:
        if wire.signal is None:
            kind = "input" if wire.is_input else "output"
            says = f"the {kind} '{wire.declared.name}' is not in the list"
            near = nearest(wire.declared.name, [s.name for s in missing])
            says += near if "did you mean" in near else ""
            differences.append(Mistake(wire.declared.place, says))
    of_program = {wire.declared.place.file for wire in wires}
    differences.sort(key=lambda d: (d.place.file in of_program, d.place.file, d.place.line))
    inside = () if outputs else tuple(_written(program))
    loose = tuple(_loose(project))
    return Matched(wires, tuple(missing), tuple(differences), inside=inside, loose=loose)


def _loose(project: Loaded) -> Iterator[str]:
    """What may be wired as an input and, without being named as one, keeps what it begins with."""
    own = [v for v in project.program.variables if v.kind == "VAR" and not v.initial]
    names = [v.name for v in own]
    wired = wired_by(project.program, project.files, project.root, names, ())
    return (name for name in names if name.casefold() in wired.inputs)


def _written(program: Program) -> Iterator[str]:
    written = set(written_in(program.body))
    own = (v for v in program.variables if v.kind == "VAR" and v.type == BOOL)
    return (v.name for v in own if v.name.casefold() in written and "@" not in v.name)


def _left_out(
    program: Program, outputs: Sequence[Declared], found: Collection[str]
) -> dict[str, str]:
    """Outputs that a new model does better without, and why.

    Numbers that only people read make more states than everything else, or keep the program from
    being explored at all. What the list of signals has stays, and so does what would leave nothing.
    """
    real = {v.name: "REAL numbers are not judged" for v in outputs if isinstance(v.type, RealType)}
    kept = {v.name for v in without_idle(without_real_outputs(program))[0].variables}
    ranges = infer_ranges(program).memory
    wide = {}
    for v in outputs:
        span = ranges.get(v.name.casefold())
        if v.name not in {*kept, *real, *found} and isinstance(span, tuple):
            many = span[1] - span[0] + 1
            if many > MOST_CLASSES:
                wide[v.name] = f"it may have {many:,} values, and nothing here depends on it"
    return real if len(real) + len(wide) == len(outputs) else real | wide


def _addresses(project: Loaded) -> dict[Place, str]:
    """The address of each variable that has one, by the place of its name."""
    declarations = [d for file in project.files for d in file.globals]
    declarations += [d for file in project.files for unit in file.units for d in unit.declarations]
    return {name.place: d.address for d in declarations for name in d.names if d.address}


def _not_in_program(
    signal: Signal, known: Sequence[Declared], at_address: dict[str, Declared], project: Loaded
) -> Mistake:
    says = f"'{signal.name}' is no input or output of the program"
    other = at_address.get(signal.plain)
    folded = signal.name.casefold()
    inside = any(v.name.casefold() == folded for v in project.program.variables)
    if other is not None:
        says += f", which has '{other.name}' at {signal.address}"
    elif inside:
        says += ": it is a variable inside; declare it as VAR_INPUT or VAR_OUTPUT"
    else:
        near = nearest(signal.name, [v.name for v in known])
        says += near if "did you mean" in near else ""
    return Mistake(signal.place, says)


def _unlike(signal: Signal, declared: Declared, address: str) -> Iterator[str]:
    """Where the list and the program differ over one signal."""
    direction = "input" if declared.kind == "VAR_INPUT" else "output"
    name = f"'{signal.name}'"
    where = f"{_short(declared.place)}"
    if signal.direction not in ("", direction):
        yield f"{name} is an {signal.direction} here and an {direction} in the program, {where}"
    at = plain_address(address)
    if at and signal.plain and at != signal.plain:
        yield f"{name} is at {signal.address} here and at {address} in the program, {where}"
    if signal.type and not _is_type(signal.type, declared.type):
        here = f"{name} is of type {signal.type[:30]} here"
        yield f"{here} and {declared.type} in the program, {where}"
    elif not signal.type and signal.plain and _is_bit(signal.plain) != (declared.type == BOOL):
        yield f"{name} is at {signal.address}, and in the program of type {declared.type}, {where}"


def _short(place: Place) -> str:
    file = place.file.replace("\\", "/").rpartition("/")[2]
    return f"{file}:{place.line}"


def _is_bit(plain: str) -> bool:
    """Whether a plain address is that of a bit: its size is not named."""
    return plain[2:3].isdigit()


# What electrical design calls the types, beside their own names.
_CALLED_BOOL = ("bool", "boolean", "bit", "digital", "binary", "binar", "binär", "boolesch")


def _is_type(written: str, type_: Type) -> bool:
    word = written.casefold().strip()
    if type_ == BOOL:
        return word in _CALLED_BOOL
    if isinstance(type_, IntType):
        # A range is no contradiction to its type.
        return word in (type_.base.casefold(), str(type_).casefold())
    return word == str(type_).casefold()
