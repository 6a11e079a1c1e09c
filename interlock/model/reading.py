"""What the formulas of a model read, and what must occur for a requirement to say anything."""

from __future__ import annotations

from collections.abc import Mapping

from interlock.kernel.patterns import PATTERNS
from interlock.model.model import Formula, Model, Statement
from interlock.st import typed as ty
from interlock.st.evaluate import reads_of


def premises_of(statement: Statement) -> tuple[ty.Expression, ...]:
    """The conditions without any of which `statement` says nothing, P of a response left out.

    What 'when' says; else, for 'never A AND B', each of the parts as written: if one of them never
    occurs, the requirement holds for that reason only.
    """
    if statement.when is not None:
        return (statement.when.tree,)
    row, tree = PATTERNS[statement.pattern], statement.p.tree
    is_forbidden = not (row.wants_p or row.asks_where_p)
    if is_forbidden and isinstance(tree, ty.Junction) and tree.op == "AND":
        return tree.operands
    return ()


def names_behind(model: Model | Mapping[str, Formula], tree: ty.Expression) -> set[str]:
    """Casefolded names that an expression reads, by itself or through the terms of a model."""
    given = model.terms if isinstance(model, Model) else model
    terms = {name.casefold(): formula.tree for name, formula in given.items()}
    found: set[str] = set()
    waiting = [tree]
    while waiting:
        for name in names_read(waiting.pop()) - found:
            found.add(name)
            if name in terms:
                waiting.append(terms[name])
    return found


def names_read(expression: ty.Expression) -> set[str]:
    """Casefolded names of the variables that an expression reads."""
    return {read.name.casefold() for read in reads_of(expression)}
