"""What is worth a look in the program: what it never reads, writes or calls, or writes twice."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass

from interlock.base.errors import Place
from interlock.model.controller import Controller
from interlock.model.inside import inside_of
from interlock.model.model import Model
from interlock.model.reading import names_read
from interlock.oversights.found import Kind, Oversight
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.evaluate import reads_of
from interlock.st.types import label_of


def in_program(model: Model) -> Iterator[Oversight]:
    """What is worth a look in the programs of `model`, in no order."""
    uses = {one.name: _Use(one.program.body) for one in model.controllers}
    yield from _signals(model, uses)
    for one in model.controllers:
        yield from _in_one(model, one, uses[one.name])


def _in_one(model: Model, one: Controller, use: _Use) -> Iterator[Oversight]:
    # By their paths requirements may read what the program itself does not, and so may what was
    # left out of it.
    asked = set(inside_of(one, model.inside).values())
    left_out = set(_named_where_left_out(one))
    for variable in one.program.variables:
        written = variable.name in use.written
        unread = variable.kind == "VAR" and variable.name not in use.read
        unread = unread and variable.name.casefold() not in asked
        unread = unread and variable.name.casefold().rpartition(".")[2] not in left_out
        if unread and not use.is_written_beside_read(variable.name):
            is_written = "is written but never read" if written else "is never used"
            says = f"the variable '{variable.name}' {is_written}"
            yield Oversight(variable.place, says, Kind.VARIABLE_UNREAD)
        if _is_forgotten(variable, use) and variable.name.casefold() not in left_out:
            initial = label_of(variable.type, variable.initial)
            says = f"the variable '{variable.name}' is never written; it stays {initial}"
            yield Oversight(variable.place, says, Kind.VARIABLE_UNWRITTEN)
        if variable.kind == "VAR_OUTPUT" and not written:
            initial = label_of(variable.type, variable.initial)
            says = f"the output '{variable.name}' is never written; it stays {initial}"
            yield Oversight(variable.place, says, Kind.OUTPUT_UNWRITTEN)
    yield from _blocks(one.program, use)
    yield from _written_twice(one.program)


def _is_forgotten(variable: ty.Declared, use: _Use) -> bool:
    """Whether a variable of the root is read and nothing gives it a value, not even at first.

    Members of blocks, structures and arrays are often left as they are, and mean it.
    """
    is_plain = variable.kind == "VAR" and not set(".[") & set(variable.name)
    is_read = variable.name in use.read and variable.name not in use.written
    return is_plain and is_read and not variable.initial


class _Use:
    """What statements read, write and call, by names as declared.

    Attributes
    ----------
    read, written, called : set of str
        An output of a block is read as ``block.Q``, and the block with it.
    """

    def __init__(self, body: Iterable[ty.Statement]) -> None:
        self.read: set[str] = set()
        self.written: set[str] = set()
        self.called: set[str] = set()
        self._at: dict[Place, set[str]] = {}
        self._places: dict[str, list[Place]] = {}
        self._follow(body)

    def is_written_beside_read(self, name: str) -> bool:
        """Whether a statement that writes `name` also writes what is read.

        Such is the copy of a whole structure, and a block's own statement in several instances.
        """
        return any(self._at[place] & self.read for place in self._places.get(name, ()))

    def _reads(self, expression: ty.Expression) -> None:
        for read in reads_of(expression):
            self.read |= {read.name, read.name.rpartition(".")[0]}

    def _follow(self, body: Iterable[ty.Statement]) -> None:
        for statement in body:
            match statement:
                case ty.Assign():
                    self._reads(statement.value)
                    self.written.add(statement.target)
                    self._at.setdefault(statement.place, set()).add(statement.target)
                    self._places.setdefault(statement.target, []).append(statement.place)
                case ty.If():
                    for branch in statement.branches:
                        self._reads(branch.condition)
                        self._follow(branch.body)
                    self._follow(statement.otherwise)
                case ty.Case():
                    self._reads(statement.selector)
                    for case in statement.branches:
                        self._follow(case.body)
                    self._follow(statement.otherwise)
                case ty.Invoke():
                    self._call(statement)

    def _call(self, call: ty.Invoke) -> None:
        self.called.add(call.instance)
        for _, value in call.inputs:
            self._reads(value)
        for taken in call.outputs:
            self.read.add(call.instance)
            self.written.add(taken.target)


def _named_where_left_out(one: Controller) -> Iterator[str]:
    """Casefolded names, and parts of them, in statements that have no meaning here."""
    if one.project is None:
        return
    places = {n.place for n in one.project.notes if n.says.startswith("left out")}
    for file in one.project.files:
        for node in _nodes_of(file):
            if getattr(node, "place", None) in places:
                for inner in _nodes_of(node):
                    if isinstance(inner, sx.Name):
                        yield from inner.text.casefold().split(".")


def _nodes_of(node: object) -> Iterator[object]:
    if isinstance(node, tuple):
        for part in node:
            yield from _nodes_of(part)
    elif is_dataclass(node) and not isinstance(node, Place):
        yield node
        for field in fields(node):
            yield from _nodes_of(getattr(node, field.name))


def _signals(model: Model, uses: Mapping[str, _Use]) -> Iterator[Oversight]:
    asked: dict[str, list[str]] = {}
    for id_, statement in model.statements.items():
        formulas = (statement.p, statement.s, statement.when, statement.opens, statement.closes)
        for formula in formulas if statement.about_signals else ():
            for name in names_read(formula.tree) if formula is not None else ():
                asked.setdefault(name, []).append(id_)
    # A signal that several controllers have must be read by one of them.
    read = {
        name
        for one in model.controllers
        for name, declared in one.inputs.items()
        if declared.name in uses[one.name].read
    }
    inputs = {name: v for one in model.controllers for name, v in one.inputs.items()}
    taken = [one for one in model.controllers if any(v.says for v in one.program.any_values)]
    computed_with = {name for one in taken for name in one.inputs}
    for name, declared in inputs.items():
        # What is taken as any value was computed of some of them.
        if name in read or name in computed_with:
            continue
        if name.casefold() in asked:
            askers = ", ".join(dict.fromkeys(asked[name.casefold()]))
            says = f"the program never reads its input '{name}'; only {askers} asks for it"
            yield Oversight(declared.place, says, Kind.INPUT_UNREAD)
        else:
            says = f"nothing reads the sensor '{name}', neither the program nor a requirement"
            yield Oversight(model.sensors[name].place, says, Kind.SENSOR_UNREAD)


def _blocks(program: ty.Program, use: _Use) -> Iterator[Oversight]:
    for instance in program.instances:
        called, read = instance.name in use.called, instance.name in use.read
        if called and read:
            continue
        kind, says = Kind.BLOCK_UNUSED, "is neither called nor read"
        if called:
            says = "is called, but nothing reads its outputs"
        elif read:
            kind, says = Kind.BLOCK_UNCALLED, "is read but never called; its outputs never change"
        yield Oversight(instance.place, f"the {instance.block} '{instance.name}' {says}", kind)


def _written_twice(program: ty.Program) -> Iterator[Oversight]:
    """Outputs that every scan writes at one place and then anew at another.

    What builds on the earlier value, as in ``lamp := lamp AND x``, is one computation. What others
    write, too, is taken over when a scan begins, which no line of the program does.
    """
    declared = {v.place for v in program.variables}
    outputs = {v.name for v in program.variables if v.kind == "VAR_OUTPUT"}
    last: dict[str, ty.Assign | ty.Taken] = {}
    for statement in program.body:
        match statement:
            case ty.Assign():
                writes: tuple[ty.Assign | ty.Taken, ...] = (statement,)
                own = [statement.value]
            case ty.Invoke():
                writes, own = statement.outputs, [value for _, value in statement.inputs]
            case _:
                continue
        read = {found.name for expression in own for found in reads_of(expression)}
        for write in writes:
            before = last.get(write.target)
            is_again = before is not None and before.place not in declared
            if before is not None and is_again and write.target in outputs - read:
                says = (
                    f"the output '{write.target}' is written here and, whatever happens, once "
                    f"more in line {write.place.line} of the same scan"
                )
                yield Oversight(before.place, says, Kind.OUTPUT_TWICE)
            last[write.target] = write
