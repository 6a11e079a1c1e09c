"""Outputs that depend on what cannot be known: taken out of the program, and told.

What depends on such a value, by what it is assigned or by whether it is assigned, goes with it.
The rest of the program computes as before, since nothing in it reads what goes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import replace

from interlock.base.errors import InputError, Mistake
from interlock.st import typed as ty
from interlock.st.evaluate import operands_of
from interlock.st.typed_parts import expressions_in

Why = Mistake
"""Where something cannot be known, and why."""


def without_unknown(
    program: ty.Program, variables: Mapping[str, Why], expressions: Mapping[int, Why]
) -> ty.Program:
    """`program` without what depends on these variables and expressions.

    Parameters
    ----------
    program : typed.Program
    variables : mapping of str to Mistake
        By casefolded name.
    expressions : mapping of int to Mistake
        By the identity of the node of the tree.

    Raises
    ------
    InputError
        Where no output is left, or where a defect would go unseen.
    """
    if not variables and not expressions:
        return program
    found = _Spread(variables, expressions)
    while found.grow(program.body):
        pass
    outputs = [v for v in program.variables if v.kind == "VAR_OUTPUT"]
    gone = [v for v in outputs if v.name.casefold() in found.why]
    if outputs and len(gone) == len(outputs):
        reasons = (
            [*expressions.values(), *variables.values()] if expressions else found.why.values()
        )
        raise InputError(list(dict.fromkeys(list(reasons)[:1])))
    if found.hides:
        raise InputError(found.hides)
    return replace(
        program,
        variables=tuple(v for v in program.variables if v.name.casefold() not in found.why),
        instances=tuple(i for i in program.instances if i.name.casefold() not in found.why),
        body=tuple(_kept(program.body, found)),
        left_out=(
            *program.left_out,
            *(ty.LeftOut(v.name, found.why[v.name.casefold()]) for v in gone),
        ),
    )


class _Spread:
    """What depends on something that cannot be known."""

    def __init__(self, variables: Mapping[str, Why], expressions: Mapping[int, Why]) -> None:
        self.why = dict(variables)
        self._expressions = expressions
        self.hides: list[Mistake] = []

    def of(self, e: ty.Expression) -> Why | None:
        """Why the value of `e` cannot be known; None where it can."""
        stack = [e]
        while stack:
            node = stack.pop()
            if id(node) in self._expressions:
                return self._expressions[id(node)]
            if isinstance(node, ty.Read):
                key = node.name.casefold()
                why = self.why.get(key) or self.why.get(key.rpartition(".")[0])
                if why is not None:
                    return why
            stack += operands_of(node)
        return None

    def first(self, parts: Iterable[ty.Expression]) -> Why | None:
        """Why the first of these that cannot be known is so."""
        return next((why for e in parts if (why := self.of(e)) is not None), None)

    def grow(self, body: Iterable[ty.Statement], outer: Why | None = None) -> bool:
        """Note what the statements spread; whether that was anything new."""
        return any(self._spread(s, outer) for s in body)

    def _spread(self, s: ty.Statement, outer: Why | None) -> bool:
        match s:
            case ty.Assign():
                return self._note([s.target], outer or self.of(s.value))
            case ty.Invoke():
                why = outer or self.first(value for _, value in s.inputs)
                why = why or self.why.get(s.instance.casefold())
                return self._note([s.instance, *(taken.target for taken in s.outputs)], why)
            case ty.If() | ty.Case():
                why = outer or self.first(asked(s))
                if why is not None and outer is None and _has_defect(s):
                    self._hide(why)
                return any(self.grow(part, why) for part in parts_of(s))

    def _hide(self, why: Why) -> None:
        says = f"whether the program comes to a defect depends on this: {why.says}"
        mistake = Mistake(why.place, says)
        if mistake not in self.hides:
            self.hides.append(mistake)

    def _note(self, names: Iterable[str], why: Why | None) -> bool:
        if why is None:
            return False
        new = [name for name in names if name.casefold() not in self.why]
        self.why |= {name.casefold(): why for name in new}
        return bool(new)


def _has_defect(s: ty.Statement) -> bool:
    """Whether a statement holds one that is a defect to come to."""
    inner: Collection[ty.Expression] = list(expressions_in([s]))
    return any(isinstance(e, ty.Call) and e.function == "DEFECT" for e in inner)


def asked(s: ty.If | ty.Case) -> list[ty.Expression]:
    """What decides which of its statements are executed."""
    return [b.condition for b in s.branches] if isinstance(s, ty.If) else [s.selector]


def parts_of(s: ty.If | ty.Case) -> list[tuple[ty.Statement, ...]]:
    """The statements of each branch."""
    return [*(branch.body for branch in s.branches), s.otherwise]


def _kept(body: Iterable[ty.Statement], found: _Spread) -> Iterator[ty.Statement]:
    for s in body:
        match s:
            case ty.Assign():
                if s.target.casefold() not in found.why:
                    yield s
            case ty.Invoke():
                if s.instance.casefold() not in found.why:
                    outputs = tuple(o for o in s.outputs if o.target.casefold() not in found.why)
                    yield replace(s, outputs=outputs)
            case ty.If():
                if found.first(asked(s)) is None:
                    branches = tuple(
                        replace(b, body=tuple(_kept(b.body, found))) for b in s.branches
                    )
                    otherwise = tuple(_kept(s.otherwise, found))
                    yield replace(s, branches=branches, otherwise=otherwise)
            case ty.Case():
                if found.first(asked(s)) is None:
                    cases = tuple(replace(b, body=tuple(_kept(b.body, found))) for b in s.branches)
                    yield replace(s, branches=cases, otherwise=tuple(_kept(s.otherwise, found)))
