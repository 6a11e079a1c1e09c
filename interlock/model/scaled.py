"""Analogue inputs: the number that the program reads of a quantity of the plant.

The program tells numbers apart by classes (`interlock.model.value_classes`), so a quantity is
parted where its number goes over from one class into another, under every fault that shifts it.
Then each band gives numbers of one class, and any of them is as good as all.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from interlock.base.errors import Place
from interlock.model.bands import Band, Bands
from interlock.model.controller import Controller
from interlock.model.free_inputs import chosen_by_number, classes_of, too_many
from interlock.model.model import Formula
from interlock.model.names import Names, type_of
from interlock.model.read_quantities import exact
from interlock.model.schema_quantities import ScaledShape
from interlock.model.schema_wired import SensorShape
from interlock.model.yaml import Path
from interlock.st import typed as ty
from interlock.st.types import BOOL, BitsType, EnumType, IntType, Type, label_of

# An author can still survey so many steps of one quantity, and so can an engine.
_MOST_PARTS = 64


@dataclass(frozen=True)
class _Class:
    """Numbers that the program does not tell apart: from one to another, and what stands for them.

    `value` is what the kernel has for a number of the class; for whole numbers by itself, None.
    """

    lo: Fraction
    hi: Fraction
    value: int | None


class _Line:
    """A scaled input: from values of the quantity to numbers, and what the program makes of these.

    Parameters
    ----------
    declared : ty.Declared
        The input of the program.
    shape : ScaledShape
    classes : sequence of _Class
        In order, without a gap.
    """

    def __init__(
        self, declared: ty.Declared, shape: ScaledShape, classes: Sequence[_Class]
    ) -> None:
        self.type, self._classes = declared.type, classes
        self._start, end = map(exact, shape.range)
        self._first, last = map(exact, shape.counts)
        self._slope = (last - self._first) / (end - self._start)
        known = self.type.classes if isinstance(self.type, EnumType) else None
        self._is_whole = known is None or not known.base

    def edges(self, shifts: Sequence[Fraction]) -> Iterator[Fraction]:
        """The values of the quantity at which the number comes into another class."""
        for shift in shifts:
            for one in self._classes[1:]:
                yield self._start + (one.lo - shift - self._first) / self._slope

    def constant(self, band: Band, shift: Fraction, place: Place) -> ty.Constant:
        """A number that the program reads while the quantity is in a band."""
        middle = (band.lo + band.hi) / 2
        return self.at(self._first + (middle - self._start) * self._slope + shift, place)

    def at(self, number: Fraction, place: Place) -> ty.Constant:
        """What the program reads of a number; the nearest that its type has."""
        number = min(max(number, self._classes[0].lo), self._classes[-1].hi)
        number = Fraction(math.floor(number)) if self._is_whole else number
        found = next(c for c in reversed(self._classes) if c.lo <= number)
        value = int(number) if found.value is None else found.value
        return ty.Constant(value, self.type, label_of(self.type, value), place)


@dataclass(frozen=True)
class Scaled:
    """Every scaled input of a model.

    Attributes
    ----------
    reads : mapping of str to Formula
        By sensor, what it reads.
    missing : mapping of str to set of Fraction
        By quantity, where it is to be parted and is not yet; formulas count only if none is.
    """

    reads: Mapping[str, Formula]
    missing: Mapping[str, set[Fraction]]


def read_scaled(names: Names, controllers: Sequence[Controller]) -> Scaled:
    """The sensors that are scaled; what is wrong with one is noted."""
    reads: dict[str, Formula] = {}
    missing: dict[str, set[Fraction]] = {}
    inputs = {n.casefold(): (n, v) for one in controllers for n, v in one.inputs.items()}
    for name, given in names.shape.sensors.items():
        if given.scaled is None or name.casefold() not in inputs:
            continue
        called, declared = inputs[name.casefold()]
        if not _is_in_order(names, name, given, controllers):
            continue
        classes = _classes(declared, names, controllers[0])
        if classes is None:
            continue
        quantity = _quantity(names, given)
        members = _bands(names, quantity).members
        line = _Line(declared, given.scaled, classes)
        shifts = [Fraction(0), *map(exact, given.scaled.shifted.values())]
        known = {float(band.lo) for band in members}
        inner = (e for e in line.edges(shifts) if min(known) < float(e) < max(known))
        if new := {e for e in inner if float(e) not in known}:
            missing.setdefault(quantity, set()).update(new)
        place = names.document.key_place(("sensors", name))
        tree = _tree(names, quantity, line, given.scaled)
        reads[called] = Formula(_says(quantity, given.scaled), place, tree)
    return Scaled(reads, missing)


def _bands(names: Names, quantity: str) -> Bands:
    bands = names.machines[quantity].bands
    assert bands is not None, "a scaled sensor reads a quantity"
    return bands


def _quantity(names: Names, given: SensorShape) -> str:
    """The quantity that a sensor reads, as declared; empty where it reads something else."""
    folded = (given.reads or "").strip().casefold()
    quantities = {name.casefold(): name for name, m in names.machines.items() if m.bands}
    return quantities.get(folded, "")


def _is_in_order(
    names: Names, name: str, given: SensorShape, controllers: Sequence[Controller]
) -> bool:
    document, mistakes, path = names.document, names.mistakes, ("sensors", name)
    scaled, before = given.scaled, len(mistakes.found)
    assert scaled is not None
    here: Path = (*path, "scaled")
    if not _quantity(names, given):
        said = "what is 'scaled' reads a quantity by its name, and nothing else"
        mistakes.add(document.place((*path, "reads")), said)
    for key in ("range", "counts"):
        if len(set(getattr(scaled, key))) == 1:
            mistakes.add(document.place((*here, key)), "both ends are alike")
    for key in ("lost", "shifted"):
        for fault in getattr(scaled, key):
            names.known(fault, names.shape.faults, (*here, key, fault), "a fault")
    if len(controllers) > 1:
        said = "a scaled input beside several controllers is not taken"
        mistakes.add(document.key_place(here), said)
    return len(mistakes.found) == before


def _classes(declared: ty.Declared, names: Names, controller: Controller) -> list[_Class] | None:
    """What of an input's numbers the program and the model tell apart; None with a mistake."""
    type_ = declared.type
    if isinstance(type_, EnumType) and type_.classes is not None:
        spans = type_.classes.spans
        if len(spans) > _MOST_PARTS:
            names.mistakes.add(declared.place, _too_many_parts(declared))
            return None
        return [_Class(Fraction(lo), Fraction(hi), n) for n, (lo, hi) in enumerate(spans)]
    place = names.document.key_place(("sensors", declared.name))
    if not isinstance(type_, IntType | BitsType):
        names.mistakes.add(place, f"'{declared.name}' is no number that can be scaled")
        return None
    parts = [
        (lo, hi, n)
        for n, one in enumerate(classes_of(declared, names, controller) or ())
        for lo, hi in one.spans or ((one.least, one.greatest),)
    ]
    if not 0 < len(parts) <= _MOST_PARTS:
        at, _ = too_many(declared, names, controller.program)
        names.mistakes.add(at, _too_many_parts(declared))
        return None
    if len({(lo, hi) for lo, hi, _ in parts}) < len(parts):
        said = (
            f"'{declared.name}' is compared with what it was before, within a band of the quantity"
        )
        names.mistakes.add(declared.place, f"{said} that it reads; that is not known")
        return None
    return [_Class(Fraction(lo), Fraction(hi), None) for lo, hi, _ in sorted(parts)]


def _too_many_parts(declared: ty.Declared) -> str:
    return f"more than {_MOST_PARTS} ranges of '{declared.name}', which is scaled, are told apart"


def _tree(names: Names, quantity: str, line: _Line, scaled: ScaledShape) -> ty.Expression:
    """What a scaled sensor reads, faults included."""
    machine, bands = names.machines[quantity], _bands(names, quantity)
    place = names.document.place(("sensors",))
    at = ty.Read(machine.name, type_of(machine), place)

    def read(shift: float) -> ty.Expression:
        constants = [line.constant(b, exact(shift), place) for b in bands.members]
        return chosen_by_number(at, constants, line.type)

    tree = read(0)
    for fault, shift in scaled.shifted.items():
        tree = _unless(tree, fault, read(shift), line.type, place)
    for fault, number in scaled.lost.items():
        tree = _unless(tree, fault, line.at(exact(number), place), line.type, place)
    return tree


def _unless(
    usual: ty.Expression, fault: str, then: ty.Expression, type_: Type, place: Place
) -> ty.Expression:
    return ty.Call("SEL", (ty.Read(fault, BOOL, place), usual, then), type_, place)


def _says(quantity: str, scaled: ScaledShape) -> str:
    (lo, hi), (first, last) = scaled.range, scaled.counts
    faults = [f"{fault}: {number:g}" for fault, number in scaled.lost.items()]
    faults += [f"{fault}: {number:+g}" for fault, number in scaled.shifted.items()]
    said = f"{quantity} of {lo:g} to {hi:g} as {first:g} to {last:g}"
    return f"{said} ({', '.join(faults)})" if faults else said
