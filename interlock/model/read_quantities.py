"""Quantities of the plant, read as machines: their bands, their switches, their moves.

A quantity is a machine with a state for each band. Its moves go from a band to the next. Let w be
the width of the band:

* upward while the quantity rises by r to R a second, at the latest w / r after this began to hold
  in the band, and with an r that is not above 0 never of necessity;
* no sooner than w / Q after it came to be above the lower edge of the band, Q being the fastest
  that it ever rises: whatever happened meanwhile, it has not come farther. What has been above the
  edge from the first on may be at the upper edge at any moment;
* downward likewise.

Where it stands at an end of its range, or still at its first value, it sets out at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction

from interlock.base.errors import Place
from interlock.kernel.system import MoveKind
from interlock.model.bands import Band, Bands
from interlock.model.durations import Duration, Stay
from interlock.model.model import Formula, Machine, ModelMove
from interlock.model.names import Mistakes, Names, type_of
from interlock.model.schema import ModelShape
from interlock.model.schema_quantities import QuantityShape, RateShape, SwitchShape
from interlock.model.yaml import Document, Path, Plain
from interlock.st import typed as ty
from interlock.st.types import BOOL, IntType

_SWITCH = ("open", "closed")
_OPEN, _CLOSED = 0, 1
# Durations are given in seconds with so many of them; rounding goes outwards.
_PER_S = 1_000_000


def exact(number: float) -> Fraction:
    """A number as it was written."""
    return Fraction(str(number))


Edges = Mapping[str, Iterable[Fraction]]
"""By quantity, numbers that part it besides those that its model file shows."""


def read_quantities(
    document: Document, shape: ModelShape, edges: Edges, mistakes: Mistakes
) -> dict[str, Machine]:
    """The machines that quantities are, and those of their switches."""
    found: dict[str, Machine] = {}
    for name, given in shape.quantities.items():
        path: Path = ("quantities", name)
        if not _is_in_order(document, path, given, mistakes):
            continue
        bands = _bands(document.value, name, given, edges.get(name, ()))
        place = document.key_place(path)
        says = given.says
        places = (place,) * len(bands.members)
        found[name] = Machine(name, says, bands.labels, bands.initial, places=places, bands=bands)
        for switch, one in given.switches.items():
            at = (document.key_place((*path, "switches", switch)),) * 2
            found[switch] = Machine(switch, one.says, _SWITCH, _first(given, one), places=at)
    return found


def _is_in_order(document: Document, path: Path, given: QuantityShape, mistakes: Mistakes) -> bool:
    before = len(mistakes.found)
    if not given.from_ < given.to:
        mistakes.add(document.place((*path, "to")), "'to' must be more than 'from'")
    numbers: list[tuple[Path, float | None]] = [(("initial",), given.initial)]
    numbers += [(("steps", n), step) for n, step in enumerate(given.steps)]
    for switch, one in given.switches.items():
        here: Path = ("switches", switch)
        numbers += [((*here, "closes_at"), one.closes_at), ((*here, "opens_at"), one.opens_at)]
        if one.closes_at == one.opens_at:
            said = "'closes_at' and 'opens_at' are alike; a sensor that compares needs no switch"
            mistakes.add(document.place((*path, *here)), said)
    for part, number in numbers:
        if number is not None and not given.from_ <= number <= given.to:
            said = f"{number:g} lies outside {given.from_:g} to {given.to:g}"
            mistakes.add(document.place((*path, *part)), said)
    for n, rate in enumerate(given.changes):
        here = (*path, "changes", n)
        if rate.per_s[0] > rate.per_s[1]:
            said = "the least change is more than the greatest; what falls fastest comes first"
            mistakes.add(document.place((*here, "per_s")), said)
        if not rate.assumed and rate.source is None:
            said = "a rate needs its 'source', or 'assumed: true'"
            mistakes.add(document.place((*here, "per_s")), said)
        if rate.when is None and n + 1 < len(given.changes):
            said = "what comes behind a change without 'when' never counts"
            mistakes.add(document.place((*path, "changes", n + 1)), said)
    return len(mistakes.found) == before


def _first(given: QuantityShape, switch: SwitchShape) -> int:
    if switch.initial is not None:
        return _SWITCH.index(switch.initial)
    first = given.from_ if given.initial is None else given.initial
    rises = switch.closes_at > switch.opens_at
    beyond = first >= switch.closes_at if rises else first <= switch.closes_at
    return _CLOSED if beyond else _OPEN


def _bands(document: Plain, name: str, given: QuantityShape, edges: Iterable[Fraction]) -> Bands:
    numbers = {exact(step) for step in given.steps} | set(edges)
    for switch in given.switches.values():
        numbers |= {exact(switch.closes_at), exact(switch.opens_at)}
    numbers |= set(compared(document, name))
    ends = exact(given.from_), exact(given.to)
    first = ends[0] if given.initial is None else exact(given.initial)
    return Bands.between(given.unit, ends, first, numbers)


_NUMBER = r"-?\s*[0-9][0-9_]*(?:\.[0-9_]+)?(?:[eE][+-]?[0-9]+)?"
_OPERATOR = r"\s*(?:<>|<=|>=|<|>|=)\s*"


def compared(value: Plain, name: str) -> Iterator[Fraction]:
    """The numbers that a name is compared with anywhere in a model file.

    A number too many, as from a text that is no formula, parts a band that need not be parted; one
    that is missing is a mistake where it is asked for.
    """
    pattern = re.compile(
        rf"(?<![\w.]){name}{_OPERATOR}({_NUMBER})|({_NUMBER}){_OPERATOR}{name}(?![\w.])", re.I
    )
    stack: list[Plain] = [value]
    while stack:
        one = stack.pop()
        if isinstance(one, dict):
            stack += [*one.keys(), *one.values()]
        elif isinstance(one, list):
            stack += one
        elif isinstance(one, str):
            for found in pattern.finditer(one):
                yield Fraction(re.sub(r"[\s_]", "", found[1] or found[2]))


@dataclass(frozen=True)
class _Drive:
    """One way in which a quantity changes, with all that keeps the ways before from counting."""

    when: Formula | None
    least: Fraction
    greatest: Fraction
    shape: RateShape
    place: Place
    number: int


def quantity_moves(names: Names, unused: Callable[[str], str]) -> list[ModelMove]:
    """The moves of every quantity; `unused` gives a name that no other move has."""
    found: list[ModelMove] = []
    for name, given in names.shape.quantities.items():
        if name in names.machines:
            found += _Moves(names, name, given, unused).all()
    return found


class _Moves:
    """The moves of a quantity."""

    def __init__(
        self, names: Names, name: str, given: QuantityShape, unused: Callable[[str], str]
    ) -> None:
        self.names, self.given, self.unused = names, given, unused
        self.machine = names.machines[name]
        assert self.machine.bands is not None
        self.bands: Bands = self.machine.bands
        self.place = names.document.key_place(("quantities", name))
        self.drives = list(self._drives())
        self.fastest_up = max((d.greatest for d in self.drives), default=Fraction(0))
        self.fastest_down = max((-d.least for d in self.drives), default=Fraction(0))

    def _drives(self) -> Iterator[_Drive]:
        before: list[Formula] = []
        for n, rate in enumerate(self.given.changes):
            path: Path = ("quantities", self.machine.name, "changes", n)
            when = None
            if rate.when is not None:
                when = self.names.formula((*path, "when"), rate.when, self.names.physical())
                if when is None:
                    continue
            place = self.names.document.place(path)
            least, greatest = map(exact, rate.per_s)
            yield _Drive(_alone(when, before, place), least, greatest, rate, place, n)
            before += [when] if when is not None else []

    def all(self) -> list[ModelMove]:
        found: list[ModelMove] = []
        for drive in self.drives:
            for number in range(len(self.bands.members)):
                above, below = self.bands.above(number), self.bands.below(number)
                if above is not None and drive.greatest > 0:
                    found.append(self._move(drive, number, above, rises=True))
                if below is not None and drive.least < 0:
                    found.append(self._move(drive, number, below, rises=False))
        return found

    def _move(self, drive: _Drive, number: int, target: int, rises: bool) -> ModelMove:
        """Out of a band into the next."""
        band = self.bands.members[number]
        passed = band.hi if rises else band.lo
        slowest = drive.least if rises else -drive.greatest
        verb = "rises" if rises else "falls"
        where = f"{verb} {'from' if band.is_point else 'to'} {self.bands.says(passed)}"
        shape = drive.shape
        greatest = _seconds_up(band.width / slowest) if slowest > 0 else 0.0
        return ModelMove(
            name=self.unused(f"{self.machine.name} {where}"),
            machine=self.machine.name,
            source=number,
            target=target,
            when=drive.when,
            also=self._also(passed, rises),
            kind=MoveKind.PLANT,
            says=f"{self.given.says or self.machine.name} {where}{_why(shape)}",
            place=drive.place,
            takes=Duration(0.0, greatest, shape.source, shape.assumed),
            may=slowest <= 0,
            stays=None if band.is_point else self._stay(band, number, rises),
        )

    def _stay(self, band: Band, number: int, rises: bool) -> Stay:
        """For how long it has been above the lower edge of a band, or below the upper one."""
        fastest = self.fastest_up if rises else self.fastest_down
        place, last = self.place, len(self.bands.members) - 1
        read = ty.Read(self.machine.name, type_of(self.machine), place)
        here = ty.Call("NUMBER", (read,), IntType(0, last), place)
        edge = ty.Constant(number, IntType(0, last), str(number), place)
        lies = ty.Binary(">=" if rises else "<=", here, edge, BOOL, place)
        side = "above" if rises else "below"
        name = f"{self.machine.name} at {self.machine.states[number]} or {side}"
        return Stay(name, 1000 * band.width / fastest, lies)

    def _also(self, passed: Fraction, rises: bool) -> dict[str, Formula]:
        """The switches that it passes."""
        found: dict[str, Formula] = {}
        for name, switch in self.given.switches.items():
            closes_upward = switch.closes_at > switch.opens_at
            for at, state, is_upward in (
                (switch.closes_at, _CLOSED, closes_upward),
                (switch.opens_at, _OPEN, not closes_upward),
            ):
                if exact(at) == passed and is_upward == rises:
                    found[name] = _state(self.names.machines[name], state, self.place)
        return found


def _why(rate: RateShape) -> str:
    return f" ({rate.says})" if rate.says else ""


def _seconds_up(seconds: Fraction) -> float:
    return math.ceil(seconds * _PER_S) / _PER_S


def _alone(when: Formula | None, before: list[Formula], place: Place) -> Formula | None:
    """`when`, where none of those before holds."""
    trees: list[ty.Expression] = [ty.Unary("NOT", formula.tree, BOOL, place) for formula in before]
    texts = [f"NOT ({formula.text})" for formula in before]
    if when is not None:
        trees, texts = [when.tree, *trees], [f"({when.text})" if texts else when.text, *texts]
    if not trees:
        return None
    tree = trees[0] if len(trees) == 1 else ty.Junction("AND", tuple(trees), BOOL, place)
    return Formula(" AND ".join(texts), when.place if when is not None else place, tree)


def _state(machine: Machine, state: int, place: Place) -> Formula:
    label = machine.states[state]
    return Formula(label, place, ty.Constant(state, type_of(machine), label, place))
