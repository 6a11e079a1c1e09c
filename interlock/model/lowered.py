"""The programs of a model's controllers as the kernel sees them, each under its own names."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.system import Move, Origin, Variable
from interlock.model.controller import Controller
from interlock.st.lower import Lowered, lower_program


@dataclass(frozen=True)
class LoweredController:
    """A controller and what its program makes of its memory.

    Attributes
    ----------
    controller : Controller
    lowered : Lowered
        With the names that variables and timers have in the system; inputs keep theirs.
    """

    controller: Controller
    lowered: Lowered

    def reading(self, root: Expr, read: Mapping[str, Expr]) -> Expr:
        """`root` with what a scan reads in place of the inputs; `read` is by casefolded sensor."""
        inputs = {
            f"input.{declared.name}": read[sensor.casefold()]
            for sensor, declared in self.controller.inputs.items()
        }
        return ex.substitute([root], inputs)[0]

    def memory_behind(self, names: set[str]) -> set[str]:
        """What the program remembers that variables with `names` depend on, whatever it reads."""
        memory = {variable.name for variable in self.lowered.variables}
        found, new = set[str](), names & memory
        while new:
            found |= new
            updates = [self.lowered.updates[n] for n in new if n in self.lowered.updates]
            updates += [m.guard for m in self.lowered.timer_moves if m.updates.keys() & new]
            new = set(ex.variables_of(updates)) & memory - found
        return found


def lower_controllers(controllers: Iterable[Controller]) -> tuple[LoweredController, ...]:
    """Lower the program of each.

    Raises
    ------
    InputError
        As `interlock.st.lower.lower_program`.
    """
    return tuple(
        LoweredController(one, _renamed(one, lower_program(one.program, one.settings)))
        for one in controllers
    )


def _renamed(controller: Controller, lowered: Lowered) -> Lowered:
    if not controller.name:
        return lowered
    names = {v.name: controller.variable(v.name) for v in lowered.variables}
    new = {before: ex.var(after) for before, after in names.items()}

    def renamed(root: Expr) -> Expr:
        return ex.substitute([root], new)[0]

    def variable(v: Variable) -> Variable:
        return replace(v, name=names[v.name])

    def timer_move(move: Move) -> Move:
        assert move.origin is not None
        origin = Origin.elapse(controller.inside(move.origin.of))
        guard = renamed(move.guard)
        updates = {names[n]: renamed(e) for n, e in move.updates.items()}
        fair = None if move.fair is None else renamed(move.fair)
        says = f"timer {origin.move_name}"
        owed = replace(move, guard=guard, updates=updates, fair=fair)
        return replace(owed, name=origin.move_name, says=says, origin=origin)

    return replace(
        lowered,
        variables=tuple(map(variable, lowered.variables)),
        retained=frozenset(names[name] for name in lowered.retained),
        updates={names[n]: renamed(e) for n, e in lowered.updates.items()},
        timer_moves=tuple(map(timer_move, lowered.timer_moves)),
        flaws=tuple(replace(flaw, when=renamed(flaw.when)) for flaw in lowered.flaws),
    )
