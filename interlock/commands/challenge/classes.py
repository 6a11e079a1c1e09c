"""Defects that may tell apart what the original does not.

A free input with many values is tried at one value of each class that the original tells apart
(`model/value_classes.py`). A changed program may tell apart two values of one class, so that it
behaves alike at the values that are tried is not enough to call it equivalent.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from interlock.commands.challenge.defects import Defect
from interlock.model.free_inputs import machine_name
from interlock.model.model import Model
from interlock.st import typed as ty
from interlock.st.evaluate import reads_of
from interlock.st.typed_parts import expressions_in
from interlock.st.types import BoolType, EnumType, domain_of


def beyond_the_classes(model: Model, defects: Iterable[Defect]) -> dict[str, str]:
    """Why each defect that reads what depends on classes of values is not called equivalent.

    By the ids of the defects.
    """
    shared = tuple(sorted(_inputs_by_class(model)))
    if not shared:
        return {}
    names = _depending(model.program, {name.casefold() for name in shared})
    says = f"only one value of each class of {', '.join(shared)} was tried"
    before = set(map(id, model.program.body))
    return {
        defect.id: says
        for defect in defects
        for program in [defect.changes.get("program")]
        if isinstance(program, ty.Program)
        and any(_reads(s) & names for s in program.body if id(s) not in before)
    }


def _inputs_by_class(model: Model) -> Iterator[str]:
    states = {machine.name: len(machine.states) for machine in model.machines.values()}
    for declared in model.program.inputs:
        n_states = states.get(machine_name(declared.name))
        if n_states is None or isinstance(declared.type, BoolType):
            continue
        is_class = declared.name.casefold() in model.program.stand_ins
        if is_class or (
            not isinstance(declared.type, EnumType) and n_states < domain_of(declared.type).size
        ):
            yield declared.name


def _depending(program: ty.Program, names: set[str]) -> set[str]:
    """`names` and all that a statement writes which reads one of them."""
    found, size = set(names), 0
    while len(found) > size:
        size = len(found)
        for s in program.body:
            if _reads(s) & found:
                found |= set(_written([s]))
    return found


def _reads(s: ty.Statement) -> set[str]:
    names = {read.name.casefold() for e in expressions_in([s]) for read in reads_of(e)}
    # An output of a block belongs to its instance.
    return names | {name.rpartition(".")[0] for name in names}


def _written(body: Iterable[ty.Statement]) -> Iterator[str]:
    for s in body:
        match s:
            case ty.Assign():
                yield s.target.casefold()
            case ty.Invoke():
                yield s.instance.casefold()
                yield from (taken.target.casefold() for taken in s.outputs)
            case ty.If() | ty.Case():
                for branch in s.branches:
                    yield from _written(branch.body)
                yield from _written(s.otherwise)
