"""Expressions, states and sets of a system as terms."""

from __future__ import annotations

from collections.abc import Sequence

from interlock.evidence.invariant_cases import Values
from interlock.evidence.sets import SetFunction
from interlock.evidence.translate import Translator
from interlock.kernel import expr as ex
from interlock.kernel.certificate import Invariant
from interlock.kernel.evaluate import State
from interlock.kernel.expr import Expr, Op
from interlock.kernel.system import System


class Terms:
    """Makes terms; what they share is defined once, by `translator`.

    Parameters
    ----------
    system : System
    invariant : Invariant
    sets : sequence of SetFunction
    """

    def __init__(self, system: System, invariant: Invariant, sets: Sequence[SetFunction]) -> None:
        self.system = system
        self.invariant = invariant
        self.sets = sets
        self.translator = Translator(system)
        self.same: Values = {v.name: ex.var(v.name) for v in system.variables}
        self._domains = {v.name: v.domain for v in system.variables}
        self._within = {case.values: sets[case.within] for case in invariant.cases}

    def truth(self, *all_of: Expr) -> str:
        """The term of a conjunction."""
        return self.translator.truth(ex.and_(*all_of))

    def among(self, set_: SetFunction, state: Values) -> str:
        """The term of `state` being in a set."""
        codes = {n: self.translator.code(state[n], self._domains[n]) for n in set_.variables}
        return set_.of(codes)

    def inside(self, state: Values) -> str:
        """The term of `state` being in the invariant."""
        values = [state[name] for name in self.invariant.split]
        if all(value.op is Op.CONST for value in values):
            within = self._within.get(tuple(value.value for value in values))
            return "false" if within is None else self.among(within, state)
        parts = []
        for case, within in self._within.items():
            same = ex.and_(*(ex.eq(v, ex.const(c)) for v, c in zip(values, case, strict=True)))
            if same is not ex.FALSE:
                parts.append(all_of(self.truth(same), self.among(within, state)))
        return any_of(*parts)

    def is_state(self, state: State, values: Values) -> str:
        """The term of `values` being those of `state`."""
        pairs = zip(self.system.variables, state, strict=True)
        return self.truth(*(ex.eq(values[v.name], ex.const(value)) for v, value in pairs))


def all_of(*terms: str) -> str:
    """A conjunction of terms; what is known is left out."""
    kept = [term for term in terms if term != "true"]
    if "false" in kept:
        return "false"
    return f"(and {' '.join(kept)})" if len(kept) > 1 else (kept or ["true"])[0]


def any_of(*terms: str) -> str:
    """A disjunction of terms; what is known is left out."""
    kept = [term for term in terms if term != "false"]
    if "true" in kept:
        return "true"
    return f"(or {' '.join(kept)})" if len(kept) > 1 else (kept or ["false"])[0]


def none_of(*terms: str) -> str:
    """The complement of a disjunction."""
    found = any_of(*terms)
    return {"true": "false", "false": "true"}.get(found, f"(not {found})")
