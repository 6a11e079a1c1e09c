"""When a fault shows: what the next scan does because of it, beside what it would do without.

A scan is compared with the same scan, on the same plant and the same memory, without the faults
in force. What it does because of them:

* **alarm**: a red, yellow or blue lamp lit, or something sounding, that would be dark and silent;
* **refusal**: any other output off that would be on: a motion or a leave withheld, a green or
  white lamp dark.

A lamp that is itself faulty is compared as it is seen. A restart is compared by the memory that
it loses, and tells only by an alarm: that outputs go off once, as at every start, shows nobody
what is missing. It comes with the next scan and no sooner, see `noting_restarts`. A yellow lamp
that a model declares with ``announces: false`` is no alarm.

The memory may hold what the faults have left, and then a lamp that is on whatever happens would be
off without them. So an alarm or a refusal counts only where a machine without any fault need not
show the same, in the same places; see `Comparison.told`. Of what it takes for a difference less is
left by that, never more.

A fault is **latent** where no run in which it strikes alone brings an alarm or a refusal. Harm
was **announced** if on every run to it an alarm or a refusal came in a state before it. What comes
together with the harm is no warning; nor is an output that stays off a refusal where its absence
is part of the harm: the loss of a safety function is not its own detection.
"""

from __future__ import annotations

from collections.abc import Container, Mapping
from dataclasses import dataclass, replace
from enum import Enum, IntEnum
from functools import cached_property

from interlock.kernel.expr import (
    FALSE,
    TRUE,
    Expr,
    Op,
    and_,
    ite,
    not_,
    or_,
    substitute,
    var,
    variables_of,
)
from interlock.kernel.patterns import PATTERNS
from interlock.kernel.projected import Projected
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import BOOL, Move, MoveKind, Origin, Role, Variable
from interlock.model.build import Built, counted_flag, fault_flag
from interlock.model.controller import STILL
from interlock.model.fault import Fault

POWER_UP_SCANS = 8
"""So many scans are taken to belong to power-up: what is shown only then counts for nothing."""


NOTED = "noted."
"""With an output's name behind it: a restart has struck since the last scan, and brings it on."""


class Telling(IntEnum):
    """How loudly the faults in force have shown so far."""

    SILENT = 0
    REFUSAL = 1
    ALARM = 2

    @property
    def says(self) -> str:
        """In one word."""
        return self.name.lower()


class Harm(Enum):
    """What a single fault means for a requirement."""

    HARMLESS = "harmless"  # it never breaks the requirement alone
    DETECTED = "detected"  # it does, but not before an alarm or a refusal
    DANGEROUS = "dangerous"  # it does, on some run in silence


@dataclass(frozen=True)
class Difference:
    """Where the next scan does with an output what it would not do without the faults.

    Attributes
    ----------
    on, off : Expr
        It comes on, goes off, or stays so, because of them.
    """

    on: Expr
    off: Expr


class IncompleteError(Exception):
    """A limit left open what the study needs; the text names it."""


class _NextScans:
    """The next scan of each controller of a built model, with and without its faults."""

    def __init__(self, built: Built) -> None:
        self._built, controllers = built, built.model.controllers
        self._scans = {one.scan: _whole(built.system.move(one.scan)) for one in controllers}
        self._by = {name: one.scan for one in controllers for name in one.written}
        live = [built.model.faults[id_] for id_ in built.run_class.faults]
        self.live = [fault for fault in live if fault.excluded is None]
        self._absent = {fault_flag(fault.id): FALSE for fault in self.live}
        self.outputs = {
            name: output
            for name, output in built.model.outputs.items()
            if built.system.variable(name).domain == BOOL
        }

    def scanned(self, name: str) -> Expr:
        """The output after the next scan of the controller that writes it, as it is seen."""
        return substitute([self._built.truth[name.casefold()]], self._scans[self._by[name]])[0]

    def without_faults(self, expr: Expr) -> Expr:
        """`expr` where no fault is in force."""
        return substitute([expr], self._absent)[0]

    def by_flags(self) -> dict[str, Difference]:
        """For each output, what the faults in force do to it in the next scan."""
        found = {}
        for name in self.outputs:
            seen = self.scanned(name)
            found[name] = _difference(seen, self.without_faults(seen))
        return found

    def by_restart(self, fault: Fault) -> dict[str, Difference]:
        """For each output, what a restart now would do to it in the next scan."""
        flags = (fault_flag(fault.id), counted_flag(fault))
        strike = self._built.system.event(Origin.strike(fault.id))
        lost = {name: value for name, value in strike.updates.items() if name not in flags}
        found = {}
        for name in self.outputs:
            seen = self.scanned(name)
            found[name] = _difference(substitute([seen], lost)[0], seen)
        return found

    def alarms_by_restart(self, fault: Fault) -> dict[str, Expr]:
        """The alarms that a restart now would bring on in the next scan, each with where."""
        by_it = self.by_restart(fault)
        return {n: d.on for n, d in by_it.items() if self.outputs[n].announces}


def noting_restarts(built: Built) -> Built:
    """The same, with a note of the alarms that a restart brings, from its strike to the next scan.

    Harm may come before that scan, and a scan behind a restart knows no more what was lost.
    """
    scans, kinds = _NextScans(built), {move.name: move.kind for move in built.system.moves}
    noted: dict[str, dict[str, Expr]] = {}
    for fault in scans.live:
        if fault.restart:
            alarms = scans.alarms_by_restart(fault)
            noted[Origin.strike(fault.id).move_name] = {
                NOTED + name: where for name, where in alarms.items() if where is not FALSE
            }
    names = dict.fromkeys(name for notes in noted.values() for name in notes)
    forgotten = dict.fromkeys(names, FALSE)
    moves = []
    for move in built.system.moves:
        notes = forgotten if kinds[move.name] is MoveKind.SCAN else noted.get(move.name, {})
        moves.append(replace(move, updates={**move.updates, **notes}))
    variables = [Variable(name, BOOL, 0, Role.OBSERVER) for name in names]
    system = replace(
        built.system, variables=(*built.system.variables, *variables), moves=tuple(moves)
    )
    return replace(built, system=system)


class Comparison(_NextScans):
    """The scans of a built model, with and without its faults, and what is usual without any.

    Parameters
    ----------
    built : Built
        Where restarts are to tell of anything, from `noting_restarts`.
    explored : Projected
        Of the built system, or of one that adds to it.
    """

    def __init__(self, built: Built, explored: Projected) -> None:
        super().__init__(built)
        self._explored = explored
        # What is outside of the controllers and has a state.
        self.places = [name for name in built.system.index if name in built.model.machines]

    def silence(self, missed: Container[str] = ()) -> dict[str, Expr]:
        """For each scan, where it does not tell of a fault.

        Of a restart that is the first scan behind it, where an alarm comes on that was noted.

        Parameters
        ----------
        missed : container of str
            Outputs whose absence is no refusal, see `missed_in_harm`.
        """
        refusing = [n for n, o in self.outputs.items() if not o.announces and n not in missed]
        seen = self.by_flags()
        found = {}
        for scan in self._scans:
            # What a controller writes only its own scan tells.
            own = {name: difference for name, difference in seen.items() if self._by[name] == scan}
            tells = self.telling(own)
            refused = [tells[name].off for name in refusing if name in own]
            lost = [
                and_(var(NOTED + name), self.scanned(name), self.told[name])
                for name in own
                if NOTED + name in self._built.system.index
            ]
            found[scan] = not_(or_(self._alarm(tells), *refused, *lost))
        return found

    def _alarm(self, differences: Mapping[str, Difference]) -> Expr:
        return or_(*(d.on for n, d in differences.items() if self.outputs[n].announces))

    def telling(self, differences: Mapping[str, Difference]) -> dict[str, Difference]:
        """As much of the differences as tells of a fault: alarms on, others off."""
        return {
            name: Difference(and_(one.on, self.told[name]), FALSE)
            if self.outputs[name].announces
            else Difference(FALSE, and_(one.off, self.told[name]))
            for name, one in differences.items()
        }

    @cached_property
    def told(self) -> dict[str, Expr]:
        """For each output, with machines and people where it tells of a fault.

        It does by coming on if it announces, else by staying off. In some state of a machine
        without any fault, with the same machines and people, the next scan must show it otherwise;
        where no such machine ever comes, that is asked of any of its states.

        Raises
        ------
        IncompleteError
            Where a limit left that open.
        """
        anywhere, found = self._of_no_fault(TRUE), {}
        for name, output in self.outputs.items():
            seen = self.scanned(name)
            usual = self._of_no_fault(not_(seen) if output.announces else seen)
            found[name] = FALSE if usual is FALSE else or_(usual, not_(anywhere))
        return found

    def _of_no_fault(self, where: Expr) -> Expr:
        """Where machines and people are as in some state of a machine without any fault."""
        found = self._explored.without_flags(where, self.places, POWER_UP_SCANS)
        if found is None:
            raise IncompleteError(self._explored.limit)
        return found

    def missed_in_harm(self, requirement: Requirement) -> frozenset[str]:
        """The outputs whose absence is part of the harm that a requirement excludes.

        Those that its harm reads negated, or otherwise than plainly: so an output too many is
        left out of the refusals rather than one too few.
        """
        missed = read_negated(_harm_of(requirement))
        return frozenset(name for name in self.outputs if name in missed)

    def guards(self) -> dict[str, Difference]:
        """For each move of the plant or of a person, where the faults allow or prevent it."""
        kinds = (MoveKind.PLANT, MoveKind.OPERATOR, MoveKind.DRIVER, MoveKind.HUMAN)
        moves = [m for m in self._built.system.moves if m.kind in kinds and m.name != STILL]
        return {move.name: self._guarded(move) for move in moves}

    def _guarded(self, move: Move) -> Difference:
        return _difference(move.guard, self.without_faults(move.guard))


def _whole(scan: Move) -> dict[str, Expr]:
    """What the turn of a controller makes of its outputs, also where it does not scan at all."""
    return {n: ite(scan.guard, update, var(n)) for n, update in scan.updates.items()}


def _harm_of(requirement: Requirement) -> Expr:
    return PATTERNS[requirement.pattern].harm(requirement.p, requirement.s)


def read_negated(expr: Expr) -> set[str]:
    """The variables that `expr` may need to be 0: read under a negation, or not as a truth value.

    An answer from the shape alone: it may name a variable too many, never one too few.
    """
    found: set[str] = set()
    seen: set[tuple[int, bool]] = set()
    waiting = [(expr, True)]
    while waiting:
        node, is_plain = waiting.pop()
        if (node.serial, is_plain) in seen:
            continue
        seen.add((node.serial, is_plain))
        match node.op:
            case Op.VAR:
                found |= set() if is_plain else {node.name}
            case Op.NOT:
                waiting.append((node.args[0], not is_plain))
            case Op.AND | Op.OR:
                waiting += [(part, is_plain) for part in node.args]
            case Op.ITE:
                condition, *parts = node.args
                waiting += [(condition, True), (condition, False)]
                waiting += [(part, is_plain) for part in parts]
            case _:
                found |= set(variables_of([node]))
    return found


def _difference(seen: Expr, otherwise: Expr) -> Difference:
    return Difference(and_(seen, not_(otherwise)), and_(otherwise, not_(seen)))
