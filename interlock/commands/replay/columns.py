"""Which column of a record shows what of the model, and how its values read.

Without a mapping, columns are known by the names that `verify --runs` writes: machines, controls
and outputs by their own, ``in:NAME`` for what an input of the program reads, ``fault:ID`` for
faults, and ``time_ms``, ``time_s`` or ``time`` (in seconds) for the time. ``step``, ``scan``,
``mover`` and ``move`` are passed over where nothing of the model is called so, and at the head of
what ``verify --runs`` wrote. A column that the mapping names is what the mapping says.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from interlock.base.errors import InputError, Mistake, MistakeList, Place, nearest
from interlock.kernel import expr as ex
from interlock.kernel.expr import Expr
from interlock.kernel.system import Domain
from interlock.model.build import Built, fault_flag
from interlock.model.files import read_text
from interlock.model.model import Model
from interlock.model.names import type_of
from interlock.model.schema_fields import Words
from interlock.model.shape import validated
from interlock.model.yaml import Document, read
from interlock.st.typed import Declared
from interlock.st.types import BOOL, EnumType, Type, domain_of
from interlock.telling.csv_log import FAULT, INPUT, PASSED_OVER, READ

TIMES = {"time": 1000, "time_s": 1000, "time_ms": 1}
# What other languages read as a number besides is none here.
_NUMBER = re.compile(r"[+-]?[0-9]{1,20}")
_REAL = re.compile(r"[+-]?[0-9]{1,20}(\.[0-9]{0,20})?([eE][+-]?[0-9]{1,2})?")
_TRUTHS = {"true": 1, "false": 0, "1": 1, "0": 0, "on": 1, "off": 0}


class _ColumnShape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)

    shows: Words
    values: dict[Words, Words] = Field(default_factory=dict)


class _MappingShape(BaseModel):
    """A file that says how a record reads."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    time: Words | None = None
    unit: Literal["s", "ms"] = "s"
    period_ms: Annotated[int, Field(ge=1, le=3_600_000)] | None = None
    jitter_ms: Annotated[int, Field(ge=0, le=3_600_000)] = 0
    sampled: Literal["any", "after scan"] = "any"
    columns: dict[Words, _ColumnShape] = Field(default_factory=dict)
    ignore: list[Words] = Field(default_factory=list)


@dataclass(frozen=True)
class Mapped:
    """How a record reads.

    Attributes
    ----------
    time : str or None
        The column with the time.
    ms_per_unit : int
    period_ms : int or None
        Nominal time between two samples; a longer one is a gap.
    jitter_ms : int
        By how much a stamp may be earlier than the one before.
    after_scan : bool
        Every sample was taken after a completed scan.
    columns : mapping of str to str
        What a column shows, where that is not its name.
    values : mapping of str to mapping
        Labels by what is recorded, for each column.
    ignored : tuple of str
    document : Document or None
    """

    time: str | None = None
    ms_per_unit: int = 1000
    period_ms: int | None = None
    jitter_ms: int = 0
    after_scan: bool = False
    columns: Mapping[str, str] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    ignored: tuple[str, ...] = ()
    document: Document | None = field(default=None, repr=False, compare=False)


AS_NAMED = Mapped()


def read_mapping(file: Path) -> Mapped:
    """Read a mapping.

    Raises
    ------
    InputError
        With every mistake of its shape.
    """
    document = read(read_text(file), str(file))
    shape = validated(document, _MappingShape, "a mapping: 'columns: …' and so on")
    return Mapped(
        time=shape.time,
        ms_per_unit=1000 if shape.unit == "s" else 1,
        period_ms=shape.period_ms,
        jitter_ms=shape.jitter_ms,
        after_scan=shape.sampled == "after scan",
        columns={name: column.shows for name, column in shape.columns.items()},
        values={name: column.values for name, column in shape.columns.items()},
        ignored=tuple(shape.ignore),
        document=document,
    )


@dataclass(frozen=True)
class Observed:
    """Something of the model that a record shows.

    Attributes
    ----------
    name : str
        As in the model, with ``in:`` or ``fault:`` where it is no machine or output.
    expr : Expr
        Over the system's variables.
    domain : Domain
    labels : mapping of str to int
        Values by what may be recorded, in lower case.
    spans : sequence of (float, float, int)
        Where values stand for numbers: the least and the greatest of each, and the value.
    is_late : bool
        It is a signal of which a scan may have read an older value.
    """

    name: str
    expr: Expr
    domain: Domain
    labels: Mapping[str, int]
    spans: Sequence[tuple[float, float, int]] = ()
    is_late: bool = False

    def value(self, text: str) -> int | None:
        """The value recorded as `text`, or None where it is none."""
        found = self.labels.get(text.casefold())
        if found is None and self.spans:
            found = self._class_of(text)
        if found is None and not self.domain.labels:
            if not _NUMBER.fullmatch(text):
                return None
            number = int(text)
            return number if self.domain.lo <= number <= self.domain.hi else None
        return found

    def _class_of(self, text: str) -> int | None:
        """The value that stands for the number recorded as `text`."""
        if not _REAL.fullmatch(text):
            return None
        number = float(text)
        # Several values of one class are tried where one may be compared with an earlier one.
        found = {value for lo, hi, value in self.spans if lo <= number <= hi}
        return found.pop() if len(found) == 1 else None


def observable(built: Built) -> dict[str, Observed]:
    """Everything that a record may show, by name."""
    model, system = built.model, built.system
    found = {n: _typed(n, ex.var(n), type_of(machine)) for n, machine in model.machines.items()}
    types = {v.name: v.type for v in model.program.variables}
    delayed = {output.name for output in model.delayed_outputs}
    for name in model.outputs:
        shown = _typed(name, built.truth[name.casefold()], types[name])
        found[name] = replace(shown, is_late=name in delayed)
    late = {sensor.name for sensor in model.late_sensors}
    for variable in model.program.inputs:
        name = f"{INPUT}{variable.name}"
        shown = _typed(name, built.signals[variable.name.casefold()], variable.type)
        is_late = variable.name in late
        found[name] = replace(shown, spans=_spans_of(model, variable), is_late=is_late)
        if is_late:
            read = f"{READ}{variable.name}"
            expr = built.read[variable.name.casefold()]
            found[read] = replace(_typed(read, expr, BOOL), is_late=True)
    for id_ in model.faults:
        flag = fault_flag(id_)
        expr = ex.var(flag) if flag in system.index else ex.FALSE
        name = f"{FAULT}{id_}"
        found[name] = _typed(name, expr, BOOL)
    return found


def _spans_of(model: Model, variable: Declared) -> list[tuple[float, float, int]]:
    """The numbers that each value of an input stands for; none where each stands for itself."""
    classes = variable.type.classes if isinstance(variable.type, EnumType) else None
    if classes is not None:
        return [(lo, hi, value) for value, (lo, hi) in enumerate(classes.spans)]
    sensor = model.sensors.get(variable.name)
    return [] if sensor is None else list(sensor.stands_for)


def _typed(name: str, expr: Expr, type_: Type) -> Observed:
    domain = domain_of(type_)
    named = {label.casefold(): number for number, label in enumerate(domain.labels)}
    return Observed(name, expr, domain, _TRUTHS if type_ == BOOL else named)


@dataclass(frozen=True)
class Column:
    """A column of a record, and how its values are rewritten before they are read."""

    header: str
    shows: Observed
    rewritten: Mapping[str, str]

    def value(self, text: str, place: Place) -> int:
        """The value recorded as `text`.

        Raises
        ------
        InputError
            Where it is none of this column.
        """
        found = self.shows.value(self.rewritten.get(text, text))
        if found is not None:
            return found
        raise InputError([Mistake(place, _no_value(text, self.shows, self.rewritten))])


@dataclass(frozen=True)
class Layout:
    """What each column of a record is: the time, something observed, or nothing."""

    columns: tuple[Column | None, ...]
    time: int | None
    ms_per_unit: int

    @property
    def observed(self) -> tuple[Observed, ...]:
        """What the record shows, in the order of its columns."""
        return tuple(column.shows for column in self.columns if column is not None)


def lay_out(
    headers: Sequence[tuple[str, Place]], known: Mapping[str, Observed], mapped: Mapped
) -> Layout:
    """Find what each column shows.

    Raises
    ------
    InputError
        With every column that is not known, shows what another one shows, or is not there
        although the mapping names it.
    """
    by_fold = {name.casefold(): observed for name, observed in known.items()}
    columns: list[Column | None] = []
    mistakes = MistakeList(_said_twice(mapped))
    times: list[int] = []
    scale = mapped.ms_per_unit
    seen: dict[str, str] = {}
    for number, (header, place) in enumerate(headers):
        columns.append(None)
        if header not in mapped.columns:
            if _is_time(header, mapped):
                times.append(number)
                scale = mapped.ms_per_unit if mapped.time else TIMES[header.casefold()]
                if mapped.time is None and header.casefold() in by_fold:
                    said = f"'{header}' may be the time or {header} of the model; map it"
                    mistakes.append(Mistake(place, said))
                continue
            if header in mapped.ignored or _tells_of_the_run(number, headers, by_fold):
                continue
        shown = mapped.columns.get(header, header)
        observed = by_fold.get(shown.casefold())
        if observed is None:
            at = place
            if mapped.document is not None and header in mapped.columns:
                at = mapped.document.place(("columns", header, "shows"))
            what = "a machine, an output, in:INPUT or fault:FAULT"
            said = f"'{_short(shown)}' is not {what}{nearest(shown, known)}"
            mistakes.append(Mistake(at, said))
        elif observed.name in seen:
            said = f"'{_short(header)}' shows {observed.name}, as '{seen[observed.name]}' does"
            mistakes.append(Mistake(place, said))
        else:
            seen[observed.name] = header
            mistakes.extend(_meaningless(header, observed, mapped))
            mistakes.extend(_late(header, observed, place))
            columns[-1] = Column(header, observed, mapped.values.get(header, {}))
    mistakes.extend(_unmet(headers, mapped))
    if len(times) > 1:
        place = headers[times[1]][1]
        mistakes.append(Mistake(place, "a second column with the time"))
    if not mistakes and not any(columns):
        mistakes.append(Mistake(headers[0][1], "no column shows anything of the model"))
    if mistakes:
        raise InputError(mistakes)
    return Layout(tuple(columns), times[0] if times else None, scale)


def _is_time(header: str, mapped: Mapped) -> bool:
    return header == mapped.time or (mapped.time is None and header.casefold() in TIMES)


def _tells_of_the_run(
    number: int, headers: Sequence[tuple[str, Place]], known: Mapping[str, Observed]
) -> bool:
    """Whether a column tells of the run as a whole, and not of its states."""
    name = headers[number][0].casefold()
    if name not in PASSED_OVER:
        return False
    head = tuple(header for header, _ in headers[: len(PASSED_OVER)])
    return name not in known or (head == PASSED_OVER and number < len(PASSED_OVER))


def _said_twice(mapped: Mapped) -> list[Mistake]:
    """Columns of which the mapping says what they show, and something else as well."""
    if mapped.document is None:
        return []
    found = []
    for name in mapped.columns:
        place = mapped.document.key_place(("columns", name))
        if name == mapped.time:
            found.append(Mistake(place, f"'{_short(name)}' cannot be the time as well"))
        if name in mapped.ignored:
            found.append(Mistake(place, f"'{_short(name)}' cannot be ignored as well"))
    return found


def _unmet(headers: Sequence[tuple[str, Place]], mapped: Mapped) -> list[Mistake]:
    """What the mapping names and the record lacks."""
    if mapped.document is None:
        return []
    names = {header for header, _ in headers}
    found = MistakeList()
    for name in mapped.columns:
        if name not in names:
            place = mapped.document.key_place(("columns", name))
            said = f"the record has no column '{_short(name)}'{nearest(name, names)}"
            found.append(Mistake(place, said))
    if mapped.time is not None and mapped.time not in names:
        said = f"the record has no column '{_short(mapped.time)}'{nearest(mapped.time, names)}"
        found.append(Mistake(mapped.document.place(("time",)), said))
    return found


def _meaningless(header: str, observed: Observed, mapped: Mapped) -> list[Mistake]:
    """What the mapping takes values of a column for, and is none of what the column shows."""
    if mapped.document is None:
        return []
    return [
        Mistake(
            mapped.document.place(("columns", header, "values", recorded)),
            _no_value(label, observed),
        )
        for recorded, label in mapped.values.get(header, {}).items()
        if observed.value(label) is None
    ]


def _late(header: str, observed: Observed, place: Place) -> list[Mistake]:
    """That a column cannot be followed: nobody knows of which moment its values are."""
    if not observed.is_late:
        return []
    said = f"'{_short(header)}' may be late, so its values are of no known moment; 'ignore' it"
    return [Mistake(place, said)]


def _no_value(text: str, shows: Observed, recorded: Iterable[str] = ()) -> str:
    known = [*recorded, *shows.domain.labels]
    lo, hi = shows.domain.lo, shows.domain.hi
    wanted = nearest(text, known) if known else f"; expected {lo} to {hi}"
    return f"'{_short(text)}' is not a value of {shows.name}{wanted}"


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:39] + "…"
