"""A model in which one output is switched on and off at will, and what its line could ask.

Everything else of the program stays as it is, with what it computes from that output. Switching
off is always possible; switching on is a move of its own, which a permissive may withhold.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from interlock.base.errors import Place
from interlock.kernel import expr as ex
from interlock.kernel.asking import ask
from interlock.kernel.expr import Expr, var
from interlock.kernel.observe import needs_observer
from interlock.kernel.query import Reach
from interlock.kernel.requirement import Requirement
from interlock.kernel.system import Move, MoveKind, Role, System
from interlock.model.build import SCAN, Built, RunClass, build
from interlock.model.model import Formula, Machine, Model, Sensor
from interlock.st import typed as ty
from interlock.st.evaluate import reads_of
from interlock.st.layout import lay_out
from interlock.st.lower import lower_program
from interlock.st.types import BOOL, Type

ON = "scan that switches on"
# A dot cannot be part of a declared name, so it collides with none.
_WISH = "wish."


@dataclass(frozen=True)
class Line:
    """The one line of a program that decides an output, or a variable that outputs share.

    Attributes
    ----------
    output : str
    number : int
        Position of the statement in the program's body.
    statement : typed.Assign
    """

    output: str
    number: int
    statement: ty.Assign


class NoLineError(Exception):
    """An output is not decided by one line; the text says how else."""


def line_of(model: Model, output: str) -> Line:
    """The line that decides `output`.

    Raises
    ------
    NoLineError
        Where it is no BOOL, or decided in several places or inside a branch.
    """
    types = {v.name: v.type for v in model.program.variables}
    if types[output] != BOOL:
        raise NoLineError(f"{output} is not a BOOL")
    body = model.program.body
    direct = [n for n, s in enumerate(body) if isinstance(s, ty.Assign) and s.target == output]
    if len(direct) != 1 or _writes(body, output) != 1:
        raise NoLineError(f"{output} is not decided by one line outside every branch")
    statement = body[direct[0]]
    assert isinstance(statement, ty.Assign)
    return Line(output, direct[0], statement)


def decided(built: Built, name: str) -> Expr:
    """What the next scan makes of a variable of the program, over the state before it.

    Raises
    ------
    NoLineError
        Where it hangs on memory that nothing else depends on.
    """
    program, settings = built.model.program, built.model.settings
    place = lay_out(program, settings).names[name.casefold()]
    after = lower_program(program, settings).updates.get(place, var(place))
    inputs = {f"input.{v.name}": built.read[v.name.casefold()] for v in program.inputs}
    (expr,) = ex.substitute([after], inputs)
    if not set(ex.variables_of([expr])) <= set(built.system.index):
        raise NoLineError(f"nothing to be seen depends on {name}")
    return expr


def _writes(body: tuple[ty.Statement, ...], output: str) -> int:
    n_writes = 0
    for s in body:
        match s:
            case ty.Assign():
                n_writes += s.target == output
            case ty.Invoke():
                n_writes += sum(taken.target == output for taken in s.outputs)
            case _:
                n_writes += sum(_writes(branch.body, output) for branch in s.branches)
                n_writes += _writes(s.otherwise, output)
    return n_writes


def with_value(model: Model, line: Line, value: ty.Expression) -> Model:
    """`model` with another expression in the line."""
    body = model.program.body
    statement = replace(line.statement, value=value)
    changed = (*body[: line.number], statement, *body[line.number + 1 :])
    return replace(model, program=replace(model.program, body=changed))


@dataclass(frozen=True)
class Seen:
    """A truth value that the line can read: as the program names it, and over the state.

    Attributes
    ----------
    is_used : bool
        The line reads it now.
    """

    name: str
    expr: Expr
    is_used: bool


@dataclass(frozen=True)
class Freed:
    """A model with one output at will.

    Attributes
    ----------
    system : System
        The scan leaves the output off; the move `ON` is the scan that switches it on.
    requirements : tuple of Requirement
        The plain ones: 'never' and 'always', of single states.
    bad : tuple of Expr
        What each of them forbids.
    others : tuple of Requirement
        All that look at more than single states. What the program computes in a scan may depend
        on `wish` there, a BOOL that is no variable of the system.
    wish : str
    seen : tuple of Seen
    """

    system: System
    requirements: tuple[Requirement, ...]
    bad: tuple[Expr, ...]
    others: tuple[Requirement, ...]
    seen: tuple[Seen, ...]
    wish: str = ""


def freed(model: Model, line: Line, run_class: RunClass) -> Freed:
    """`model` with the output of `line` at will."""
    wish = _WISH + line.output
    place = line.statement.value.place
    obeying = with_value(model, line, ty.Read(wish, BOOL, place))
    built = build(_wishing(obeying, wish, place), run_class)
    plain = [r for r in built.requirements.values() if _is_plain(built, r)]
    bad = [query.target for r in plain for query in _reaches(built.system, r)]
    moves = [move for move in built.system.moves if move.kind is not MoveKind.SCAN]
    scan = built.system.move(SCAN)
    off, on = _wished(scan, wish, 0), replace(_wished(scan, wish, 1), name=ON)
    variables = tuple(v for v in built.system.variables if v.name != wish)
    system = replace(built.system, variables=variables, moves=(*moves, off, on))
    seen = tuple(_seen(model, line, built.read, system))
    others = tuple(r for r in built.requirements.values() if r not in plain)
    return Freed(system, tuple(plain), tuple(bad), others, seen, wish)


def _wishing(model: Model, wish: str, place: Place) -> Model:
    """With a signal called `wish` that reads a control of the same name."""
    declared = ty.Declared(wish, BOOL, 0, "VAR_INPUT", False, place)
    program = replace(model.program, variables=(*model.program.variables, declared))
    reads = Formula(wish, place, ty.Read(wish, BOOL, place))
    control = Machine(wish, "", ("FALSE", "TRUE"), 0, is_control=True, is_bool=True)
    return replace(
        model,
        program=program,
        sensors={**model.sensors, wish: Sensor(wish, "", reads, None, place)},
        machines={**model.machines, wish: control},
    )


def _wished(scan: Move, wish: str, value: int) -> Move:
    names = list(scan.updates)
    updates = ex.substitute([scan.updates[name] for name in names], {wish: ex.const(value)})
    return replace(scan, updates=dict(zip(names, updates, strict=True)))


def _is_plain(built: Built, requirement: Requirement) -> bool:
    """Whether it is a 'never' or an 'always' of single states of the model."""
    if requirement.id not in built.model.statements or needs_observer(requirement):
        return False
    return bool(_reaches(built.system, requirement))


def _reaches(system: System, requirement: Requirement) -> list[Reach]:
    return [query for query in ask(system, requirement).violations if isinstance(query, Reach)]


def _seen(model: Model, line: Line, signals: Mapping[str, Expr], system: System) -> Iterator[Seen]:
    """What the line reads now, in its order; then every other signal; then memory."""
    program = model.program
    # The line reads what the statements before it have made of memory and of temporaries.
    before = _with_kept_temporaries(replace(program, body=program.body[: line.number]))
    layout = lay_out(before, model.settings)
    places = layout.names
    found = lower_program(before, model.settings).updates
    known = {f"input.{v.name}": signals[v.name.casefold()] for v in program.inputs}
    for declared in program.variables:
        if declared.kind == "VAR_TEMP":
            place = places[declared.name.casefold()]
            table = layout.tables.get(place)
            first = declared.initial if table is None else table.index(declared.real)
            known[place] = ex.const(first)

    def over_the_state(name: str) -> Expr:
        place = places[name.casefold()]
        return ex.substitute([found.get(place, var(place))], known)[0]

    asked = dict.fromkeys(r.name for r in reads_of(line.statement.value) if r.type == BOOL)
    signal_names = [v.name for v in program.inputs if v.type == BOOL]
    # Its own past would only tell what an all-knowing permissive decided before it.
    memory = [
        name
        for name, type_ in _remembered(program)
        if type_ == BOOL and name != line.output and places.get(name.casefold()) in system.index
    ]
    for name in dict.fromkeys([*asked, *signal_names, *memory]):
        expr = over_the_state(name)
        if set(ex.variables_of([expr])) <= set(system.index):
            yield Seen(name, expr, name in asked)


def _with_kept_temporaries(program: ty.Program) -> ty.Program:
    """`program` with its temporaries as variables, so that what becomes of them can be asked."""
    kept = (replace(v, kind="VAR") if v.kind == "VAR_TEMP" else v for v in program.variables)
    return replace(program, variables=tuple(kept))


def _remembered(program: ty.Program) -> Iterator[tuple[str, Type]]:
    for declared in program.variables:
        if declared.kind != "VAR_INPUT":
            yield declared.name, declared.type
    for instance in program.instances:
        for output in ("Q", "Q1"):
            yield f"{instance.name}.{output}", BOOL


def outputs_worth_advice(model: Model, run_class: RunClass) -> tuple[str, ...]:
    """The outputs that gate a move, or that a 'never' or 'always' speaks of, in program order."""
    built = build(model, run_class)
    roots = [move.guard for move in built.system.moves if move.kind is not MoveKind.SCAN]
    for requirement in built.requirements.values():
        if _is_plain(built, requirement):
            roots += [query.target for query in _reaches(built.system, requirement)]
    read = set(ex.variables_of(roots))
    outputs = [v.name for v in built.system.variables if v.role is Role.OUTPUT]
    return tuple(name for name in outputs if name in read)
