"""Which variables a program's memory has: their names, domains and initial values.

The lowering and the interpreter agree on these names and on nothing else.

A timer is ``running`` from its start until its output has followed. While it runs, either the
move that ends its time sets ``elapsed`` (free timers) or ``elapsed_scans`` counts (counted timers).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum

from interlock.base.errors import InputError, Mistake
from interlock.kernel.system import BOOL, Domain, Role, Variable
from interlock.st import typed as ty
from interlock.st.blocks import BLOCKS
from interlock.st.counting import count_spans
from interlock.st.inference import Ranges, infer_ranges, is_wide
from interlock.st.types import GREATEST, IntType, RealType, Type, domain_of, span_of

PREFIX = "plc."


class Timers(Enum):
    """How long a timer runs."""

    FREE = "free"  # any time from one scan on; sound for every preset time
    COUNTED = "counted"  # its preset time in scans of a fixed length


@dataclass(frozen=True)
class Settings:
    """Choices that a controller's make or a model makes.

    Attributes
    ----------
    timers : Timers
    scan_ms : int
        Length of a scan in milliseconds; only counted timers use it.
    edges : int
        Edition of IEC 61131-3, 1 or 2. In the second, F_TRIG gives TRUE on a first call with CLK
        FALSE; in the first it does not.
    overflow : str
        ``wrap`` where a number that its type does not hold is taken modulo the type's size,
        ``saturate`` where it becomes the nearest that the type holds.
    """

    timers: Timers = Timers.FREE
    scan_ms: int = 100
    edges: int = 2
    overflow: str = "wrap"

    @property
    def saturates(self) -> bool:
        """Whether numbers stop at the limits of their types."""
        return self.overflow == "saturate"


def top_of(instance: ty.Instance, settings: Settings) -> int:
    """The position at which a timer has elapsed: 0 for T#0s, which elapses at once.

    Of a timer whose preset time varies, the greatest such position.
    """
    if settings.timers is Timers.FREE:
        return min(instance.preset_ms, 1)
    return -(-instance.preset_ms // settings.scan_ms)


def position_name(instance: ty.Instance, settings: Settings) -> str:
    """The variable that says how far a timer has come."""
    part = "elapsed" if settings.timers is Timers.FREE else "elapsed_scans"
    return f"{PREFIX}{instance.name}.{part}"


def count_name(instance: ty.Instance) -> str:
    """The variable with the value of a counter."""
    return f"{PREFIX}{instance.name}.CV"


def _memory(
    instance: ty.Instance, settings: Settings, counts: Mapping[str, tuple[int, int]]
) -> Iterator[Variable]:
    name = PREFIX + instance.name
    match instance.block:
        case "SR" | "RS":
            yield Variable(f"{name}.Q1", BOOL, 0, Role.MEMORY)
        case "R_TRIG" | "F_TRIG":
            # M of F_TRIG is the last NOT CLK. Starting at 1 it hides an edge on the first call.
            first = int(instance.block == "F_TRIG" and settings.edges == 1)
            yield Variable(f"{name}.M", BOOL, first, Role.MEMORY)
            yield Variable(f"{name}.Q", BOOL, 0, Role.MEMORY)
        case "CTU" | "CTD" | "CTUD":
            names = ("M",) if instance.block != "CTUD" else ("MU", "MD")
            for clock in names:
                yield Variable(f"{name}.{clock}", BOOL, 0, Role.MEMORY)
            yield Variable(count_name(instance), Domain(*counts[instance.name]), 0, Role.MEMORY)
            for output in [o for o in BLOCKS[instance.block].outputs if o != "CV"]:
                yield Variable(f"{name}.{output}", BOOL, 0, Role.MEMORY)
        case _:
            top = top_of(instance, settings)
            free = settings.timers is Timers.FREE and top == 1
            yield Variable(f"{name}.running", BOOL, 0, Role.TIMER)
            position = BOOL if free else Domain(0, top)
            yield Variable(position_name(instance, settings), position, 0, Role.TIMER)
            if settings.timers is Timers.COUNTED:
                greatest = instance.preset_ms if instance.varies else top
                yield Variable(f"{name}.ET", Domain(0, greatest), 0, Role.TIMER)
            yield Variable(f"{name}.Q", BOOL, 0, Role.MEMORY)


@dataclass(frozen=True)
class Layout:
    """The variables of a program under some settings.

    Attributes
    ----------
    inputs : tuple of Variable
        Named ``input.<name>``: what the scan latches.
    variables : tuple of Variable
        Outputs under their own names, everything else behind ``plc.``.
    names : dict of str to str
        Name of the variable behind each casefolded name of the program; a timer's ET is kept in
        scans.
    retained : frozenset of str
        Names of the variables that keep their values over a restart.
    counts : dict of str to (int, int)
        Where each counter stays in the lowering, downwards and upwards, by its instance's name; a
        value there stands for itself and everything beyond.
    temporaries : dict of str to Declared
        Variables without memory, by casefolded name.
    tables : dict of str to tuple of float
        The values of each REAL variable, by the name of the kernel's variable, which is the place
        in it.
    """

    inputs: tuple[Variable, ...]
    variables: tuple[Variable, ...]
    names: dict[str, str]
    retained: frozenset[str]
    counts: dict[str, tuple[int, int]]
    temporaries: dict[str, ty.Declared]
    tables: dict[str, tuple[float, ...]]


def lay_out(program: ty.Program, settings: Settings) -> Layout:
    """The layout of `program`.

    Raises
    ------
    InputError
        Where the program reads the elapsed time of a free timer, which has none, or has numbers
        that are too large to compute with.
    """
    if settings.timers is Timers.FREE and program.elapsed_reads:
        says = "ET cannot be read from a free timer; the model must set timers to counted"
        raise InputError([Mistake(place, says) for place in program.elapsed_reads])
    found = infer_ranges(program)
    _refuse_too_large(program, found)
    inputs: list[Variable] = []
    variables: list[Variable] = []
    names: dict[str, str] = {}
    retained: set[str] = set()
    tables: dict[str, tuple[float, ...]] = {}
    for declared in program.variables:
        if declared.kind == "VAR_TEMP":
            continue
        type_ = known_type(declared, found)
        variable = _declared(declared, type_)
        names[declared.name.casefold()] = variable.name
        if isinstance(type_, RealType):
            tables[variable.name] = type_.table
        (inputs if declared.kind == "VAR_INPUT" else variables).append(variable)
        if declared.retain:
            retained.add(variable.name)
    counts = count_spans(program, found)
    _refuse_counting_too_far(program, counts)
    for instance in program.instances:
        memory = list(_memory(instance, settings, counts))
        variables += memory
        if instance.retain:
            retained.update(variable.name for variable in memory)
        for output in BLOCKS[instance.block].outputs:
            if output != "ET" or settings.timers is Timers.COUNTED:
                name = f"{instance.name}.{output}"
                names[name.casefold()] = PREFIX + name
    temporaries = {v.name.casefold(): v for v in program.variables if v.kind == "VAR_TEMP"}
    return Layout(
        tuple(inputs), tuple(variables), names, frozenset(retained), counts, temporaries, tables
    )


def known_type(declared: ty.Declared, found: Ranges) -> Type:
    """The type of a variable with the range, or the values, that it has between scans."""
    known = found.memory.get(declared.name.casefold())
    type_ = declared.type
    if known is None or not is_wide(type_):
        return type_
    if isinstance(known, frozenset):
        return RealType(str(type_), tuple(sorted(known)))
    return IntType(*known, str(type_))


def _refuse_too_large(program: ty.Program, found: Ranges) -> None:
    mistakes = list(found.mistakes)
    for declared in program.variables:
        lo, hi = span_of(known_type(declared, found))
        if declared.kind != "VAR_TEMP" and not -GREATEST <= lo <= hi <= GREATEST:
            says = f"'{declared.name}' may be {lo}..{hi}, beyond 2^62: too large to compute with"
            mistakes.append(Mistake(declared.place, says))
    if mistakes:
        raise InputError(mistakes)


def _refuse_counting_too_far(program: ty.Program, counts: Mapping[str, tuple[int, int]]) -> None:
    mistakes = []
    for counter in (i for i in program.instances if i.name in counts):
        lo, hi = counts[counter.name]
        if not -GREATEST <= lo <= hi <= GREATEST:
            says = f"'{counter.name}' may count {lo}..{hi}, beyond 2^62: too large to compute with"
            mistakes.append(Mistake(counter.place, f"{says}; count in DINT or UDINT"))
    if mistakes:
        raise InputError(mistakes)


def _declared(declared: ty.Declared, type_: Type) -> Variable:
    domain = domain_of(type_)
    initial = declared.initial
    if isinstance(type_, RealType):
        initial = type_.table.index(declared.real)
    if declared.kind == "VAR_INPUT":
        return Variable(f"input.{declared.name}", domain, initial, Role.CONTROL)
    if declared.kind == "VAR_OUTPUT":
        return Variable(declared.name, domain, initial, Role.OUTPUT)
    return Variable(PREFIX + declared.name, domain, initial, Role.MEMORY)
