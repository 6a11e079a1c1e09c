"""Which names the code of each unit may assign, as far as the text alone tells."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.st import syntax as sx
from interlock.st.elaborate.addresses import plain_address
from interlock.st.elaborate.project import Project, nodes_of, words_of
from interlock.st.elaborate.standard import is_of_texts, is_standard
from interlock.st.types import elementary_names

_ADDRESSES = frozenset(("ADR", "ADRINST"))


def assigned_in(unit: sx.Unit, project: Project) -> set[str]:
    """Casefolded names that `unit`, its actions or its methods may assign.

    A name that is given to a call may be an in-out and counts. Of ``a.b[i].c`` each of a, b and c
    counts, whichever of them is the variable. What a reference is bound to, it may assign.
    """
    found = assigned_by((unit.body, unit.declarations, unit.chart), project)
    for declaration in unit.declarations:
        if declaration.initial is not None and declaration.type.name == "REFERENCE":
            found |= set(_parts(declaration.initial))
    for action in unit.actions:
        found |= assigned_by(action.body, project)
    for method in unit.methods:
        found |= assigned_in(method, project)
    if unit.chart is not None:
        found |= {use.name.casefold() for step in unit.chart.steps for use in step.actions}
    return found


def mentioned_by(units: Iterable[sx.Unit], project: Project) -> set[str]:
    """Casefolded names of the units that the text of `units`, or of one found so, names."""
    found: set[str] = set()
    stack: list[object] = list(units)
    while stack:
        for word in words_of(stack.pop()) - found:
            found.add(word)
            if word in project.globals:
                stack.append(project.globals[word][1].type)
            if word in project.types:
                stack.append(project.types[word])
            if word in project.units:
                stack.append(project.units[word])
    return found & project.units.keys()


def assigned_by(code: object, project: Project, but_for_values: bool = False) -> set[str]:
    """Casefolded names that a part of the text may assign, wherever in it that stands.

    With `but_for_values` not what a FUNCTION is given that takes nothing but values.
    """
    found: set[str] = set()
    for node in nodes_of(code):
        match node:
            case sx.Assign() | sx.OutputArgument():
                found.update(_parts(node.target))
            case sx.For():
                found.update(_parts(node.variable))
            case sx.Invoke():
                # An input assigned from outside, or a call of another's action.
                found.update(_parts(node.instance))
                for argument in node.inputs:
                    found.update(_parts(argument.value))
            case sx.Call() if but_for_values and _takes_values(node.function, project):
                pass
            case sx.Call() if not _is_only_read(node.function, project):
                for value in (*node.arguments, *(a.value for a in node.named)):
                    found.update(_parts(value))
    return found


def _is_only_read(function: str, project: Project) -> bool:
    """Whether what a function is given surely is not assigned: by the standard's it is not.

    What an address is asked of may be assigned by way of it.
    """
    if project.unit(function) is not None or function.upper() in _ADDRESSES:
        return False
    return is_standard(function) or is_of_texts(function)


def _takes_values(function: str, project: Project) -> bool:
    unit = project.unit(function)
    if unit is None or unit.kind != "FUNCTION":
        return False
    given = [d for d in unit.declarations if d.kind in ("VAR_INPUT", "VAR_OUTPUT", "VAR_IN_OUT")]
    return all(d.kind == "VAR_INPUT" and d.type.name.upper() in elementary_names() for d in given)


def _parts(e: sx.Expression) -> Iterator[str]:
    match e:
        case sx.Name():
            yield from e.text.casefold().split(".")
        case sx.Element() | sx.Pointed():
            yield from _parts(e.base)
        case sx.Member():
            yield e.name.casefold()
            yield from _parts(e.base)
        case sx.Direct():
            yield plain_address(e.address)
        case _:
            pass
