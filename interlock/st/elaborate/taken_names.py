"""Variables, methods, properties, actions and steps of a unit that have the same name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.base.errors import Mistake, Place
from interlock.st import syntax as sx


def taken_names(units: Iterable[sx.Unit]) -> list[Mistake]:
    """A mistake for each name that one unit gives to things of two kinds.

    Examples
    --------
    >>> from interlock.st.parser import parse_file
    >>> text = "FUNCTION_BLOCK f VAR on : BOOL; END_VAR METHOD On ; END_METHOD END_FUNCTION_BLOCK"
    >>> [mistake.says for mistake in taken_names(parse_file(text, "f.st").units)]
    ["method 'On' has the name of a variable; names do not tell capitals apart"]
    """
    return [mistake for unit in units for mistake in _within(unit)]


def _within(unit: sx.Unit) -> Iterator[Mistake]:
    variables = {name.text.casefold(): "variable" for d in unit.declarations for name in d.names}
    known: dict[str, str] = dict(variables)
    for what, name, place in _others(unit):
        before = known.setdefault(name.casefold(), what)
        if before != what:
            says = f"{what} '{name}' has the name of a {before}; names do not tell capitals apart"
            yield Mistake(place, says)


def _others(unit: sx.Unit) -> Iterator[tuple[str, str, Place]]:
    for method in unit.methods:
        what = "property" if method.kind in ("GET", "SET") else "method"
        yield what, method.name, method.place
    if unit.chart is not None:
        for step in unit.chart.steps:
            yield "step", step.name, step.place
    for action in unit.actions:
        yield "action", action.name, action.place
