"""What each supply of a model feeds, worked out from the guards and not claimed.

Asked is what can happen with the supply off in any state at all, with every output free: so an
answer holds whatever the program computes, and whatever its controller's faults are.
"""

from __future__ import annotations

from dataclasses import dataclass

from interlock.kernel import expr as ex
from interlock.kernel.expr import FALSE, TRUE, Expr
from interlock.kernel.system import MoveKind
from interlock.model.model import Formula, Model, ModelMove, Supply
from interlock.model.names import type_of
from interlock.model.reading import names_read
from interlock.st.lower_terms import lower_expression
from interlock.st.types import BOOL, Type, domain_of


@dataclass(frozen=True)
class Fed:
    """What one supply feeds.

    Attributes
    ----------
    supply : Supply
    stopped : tuple of ModelMove
        Moves of the plant that are possible only while it feeds.
    going_on : tuple of ModelMove
        Moves of the plant that are possible without it, too.
    isolated : tuple of str
        Outputs that act on the plant or on a signal, but on nothing while the supply is off.
    acting : tuple of str
        Outputs that act on the plant or on a signal even while it is off.
    silent : tuple of str
        Inputs that have only one value while it is off, and more while it feeds.
    """

    supply: Supply
    stopped: tuple[ModelMove, ...]
    going_on: tuple[ModelMove, ...]
    isolated: tuple[str, ...]
    acting: tuple[str, ...]
    silent: tuple[str, ...]


def what_is_fed(model: Model) -> list[Fed]:
    """What each supply of `model` feeds, in the order of the model."""
    whole = _Whole(model)
    return [whole.fed_by(supply) for supply in model.supplies.values()]


class _Whole:
    """The guards and signals of a model over variables that are all free."""

    def __init__(self, model: Model) -> None:
        self._model = model
        types: dict[str, Type] = {n: type_of(m) for n, m in model.machines.items()}
        types |= {v.name: v.type for v in model.program.variables if v.kind == "VAR_OUTPUT"}
        types |= dict.fromkeys(model.faults, BOOL)
        self._types = types
        self._inputs = {v.name: v.type for v in model.program.inputs}
        self._env = {name.casefold(): ex.var(name) for name in types}
        waiting = dict(model.terms)
        while waiting:  # terms may be written in any order; circles were refused on loading
            for name, formula in list(waiting.items()):
                if names_read(formula.tree) <= self._env.keys():
                    self._env[name.casefold()] = self._lower(formula)
                    del waiting[name]
        guards = [(move, self._guard(move)) for move in model.moves]
        self._of_plant = [pair for pair in guards if pair[0].kind is MoveKind.PLANT]
        self._reads = {name: self._lower(sensor.reads) for name, sensor in model.sensors.items()}
        also = [self._lower(f) for move in model.moves for f in move.also.values()]
        effects = [*(guard for _, guard in guards), *also, *self._reads.values()]
        self._effects = list(dict.fromkeys(effects))

    def _lower(self, formula: Formula) -> Expr:
        return lower_expression(formula.tree, self._env)

    def _guard(self, move: ModelMove) -> Expr:
        here = TRUE
        if move.source is not None:
            here = ex.eq(ex.var(move.machine), ex.const(move.source))
        return here if move.when is None else ex.and_(here, self._lower(move.when))

    def fed_by(self, supply: Supply) -> Fed:
        off = ex.not_(self._lower(supply.feeds_while))
        stopped, going_on = [], []
        for move, guard in self._of_plant:
            if self._can_be(ex.and_(guard, off)):
                going_on.append(move)
            elif self._can_be(guard):
                stopped.append(move)
        acting = [name for name in self._model.outputs if self._acts(name, off)]
        isolated = [n for n in self._model.outputs if n not in acting and self._acts(n, TRUE)]
        silent = [name for name in self._reads if self._falls_silent(name, off)]
        return Fed(
            supply, tuple(stopped), tuple(going_on), tuple(isolated), tuple(acting), tuple(silent)
        )

    def _acts(self, output: str, where: Expr) -> bool:
        """Whether another value of `output` makes another effect in some state with `where`."""
        domain = domain_of(self._types[output])
        for effect in self._effects:
            if output not in ex.variables_of([effect]):
                continue
            first, *others = (
                ex.substitute([effect], {output: ex.const(value)})[0]
                for value in range(domain.lo, domain.hi + 1)
            )
            if any(self._can_be(ex.and_(where, ex.ne(first, other))) for other in others):
                return True
        return False

    def _falls_silent(self, signal: str, off: Expr) -> bool:
        reads = self._reads[signal]
        domain = domain_of(self._inputs[signal])
        can_be = [ex.eq(reads, ex.const(value)) for value in range(domain.lo, domain.hi + 1)]
        n_off = sum(self._can_be(ex.and_(off, value)) for value in can_be)
        return n_off == 1 and sum(map(self._can_be, can_be)) > 1

    def _can_be(self, condition: Expr) -> bool:
        """Whether some state makes `condition` true, by trying values; expressions get smaller."""
        if condition in (TRUE, FALSE):
            return condition is TRUE
        name = ex.variables_of([condition])[0]
        domain = domain_of(self._types[name])
        return any(
            self._can_be(ex.substitute([condition], {name: ex.const(value)})[0])
            for value in range(domain.lo, domain.hi + 1)
        )
