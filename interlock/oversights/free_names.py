"""The names of a model as variables that may have any value, whatever is reachable."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from interlock.kernel import expr as ex
from interlock.kernel.expr import TRUE, Expr
from interlock.kernel.satisfy import always, satisfiable
from interlock.model.build import fault_flag
from interlock.model.inside import variables_inside
from interlock.model.model import Formula, Model, Statement
from interlock.model.reading import names_read
from interlock.st.layout import lay_out
from interlock.st.lower_terms import lower_expression
from interlock.st.types import domain_of


class FreeNames:
    """Machines, outputs, signals and faults of a model, each free to have any of its values.

    What cannot be so here can be so in no state of any run class: stuck signals and outputs,
    restarts and excluded faults are among the values.

    Attributes
    ----------
    model : Model
    values : dict of str to sequence of int
        Every value of each variable.
    truth : dict of str to Expr
        What machines, outputs, faults and terms stand for, by casefolded name.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        self.values: dict[str, range] = {
            name: range(len(machine.states)) for name, machine in model.machines.items()
        }
        self.truth: dict[str, Expr] = {name.casefold(): ex.var(name) for name in model.machines}
        for output, type_ in model.output_types.items():
            domain = domain_of(type_)
            self.values[output] = range(domain.lo, domain.hi + 1)
            self.truth[output.casefold()] = ex.var(output)
        for fault in model.faults:
            self.values[fault_flag(fault)] = range(2)
            self.truth[fault.casefold()] = ex.var(fault_flag(fault))
        for one in model.controllers:
            for kept in lay_out(one.program, one.settings).variables:
                values = range(kept.domain.lo, kept.domain.hi + 1)
                self.values.setdefault(one.variable(kept.name), values)
        self.truth |= {path: ex.var(name) for path, name in variables_inside(model).items()}
        self.truth = with_terms(model, self.truth)

    @cached_property
    def signals(self) -> Mapping[str, Expr]:
        """What the program's inputs stand for, by casefolded name."""
        found = {}
        for signal, type_ in self.model.input_types.items():
            domain, name = domain_of(type_), f"input.{signal}"
            self.values[name] = range(domain.lo, domain.hi + 1)
            found[signal.casefold()] = ex.var(name)
        return found

    def expression(self, formula: Formula | None) -> Expr:
        """A formula over the truth; TRUE where there is none."""
        return TRUE if formula is None else lower_expression(formula.tree, self.truth)

    def asked(self, statement: Statement, formula: Formula | None) -> Expr:
        """A formula of a requirement, which may be about signals; TRUE where there is none."""
        if formula is None:
            return TRUE
        names = {**self.signals, **self.truth} if statement.about_signals else self.truth
        return lower_expression(formula.tree, names)

    def never(self, condition: Expr) -> bool:
        """Whether it is known that no values make `condition` true."""
        return satisfiable(condition, self.values) is False

    def always(self, condition: Expr) -> bool:
        """Whether it is known that all values make `condition` true."""
        return always(condition, self.values) is True


def with_terms(model: Model, names: Mapping[str, Expr]) -> dict[str, Expr]:
    """`names` with the terms that are made of them; keys are casefolded."""
    found = dict(names)
    waiting = dict(model.terms)
    while waiting:  # terms may be written in any order; circles were refused on loading
        for name, formula in list(waiting.items()):
            if names_read(formula.tree) <= found.keys():
                found[name.casefold()] = lower_expression(formula.tree, found)
                del waiting[name]
    return found
