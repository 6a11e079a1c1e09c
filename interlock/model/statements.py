"""The requirements of a model file: one pattern each, with its scope."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from interlock.kernel.patterns import PATTERNS, PatternRow
from interlock.kernel.requirement import Pattern, ScopeKind
from interlock.model import patterns
from interlock.model.bound import Bound
from interlock.model.model import Formula, Statement
from interlock.model.names import Names
from interlock.model.read_timing import milliseconds
from interlock.model.schema import RequirementShape, ScopeShape
from interlock.model.timing import MOST_UNITS
from interlock.model.yaml import Path

_PATTERNS = {row.keys: pattern for pattern, row in patterns.PATTERNS.items()}
_SCOPES = {tuple(row.parts): scope for scope, row in patterns.SCOPES.items()}
_BOUND_KEYS = sorted({row.bound for row in patterns.PATTERNS.values()} - {""})
_BOUND = re.compile(r"([0-9]+(?:\.[0-9]+)?) *(scans?|ms|s)")
# Each scan is a value of the observer that counts them.
MAX_SCANS = 1000
_CHOICES = " | ".join(" + ".join(keys) for keys in _PATTERNS)
_WHERE = " | ".join(" + ".join(keys) for keys in _SCOPES if keys)


def read_statement(names: Names, id_: str, shape: RequirementShape) -> Statement | None:
    """The requirement `id_`, or None after noting what is wrong with it."""
    path: Path = ("requirements", id_)
    place = names.document.key_place(path)
    given = tuple(key for keys in _PATTERNS for key in keys if getattr(shape, key) is not None)
    pattern = _PATTERNS.get(given)
    if pattern is None:
        said = ", ".join(given) or "none"
        names.mistakes.add(place, f"{id_} needs exactly one pattern: {_CHOICES}; given: {said}")
        return None
    if shape.when is not None and not PATTERNS[pattern].has_when:
        said = f"'when' goes with {_those(lambda row: row.has_when)} only"
        names.mistakes.add(names.document.key_place((*path, "when")), said)
    _check_ever_judged(names, path, shape, PATTERNS[pattern])
    within = _within(names, path, shape, pattern)
    found = {key: _formula(names, (*path, key), getattr(shape, key), shape) for key in given}
    when = _formula(names, (*path, "when"), shape.when, shape) if shape.when else None
    scope = _scope(names, path, shape, pattern)
    for number, hazard in enumerate(shape.hazards):
        names.known(hazard, names.shape.hazards, (*path, "hazards", number), "a hazard")
    if scope is None or None in found.values():
        return None
    kind, opens, closes = scope
    formulas = [f for f in found.values() if f is not None]
    return Statement(
        id=id_,
        says=shape.says,
        pattern=pattern,
        p=formulas[0],
        s=formulas[1] if len(formulas) > 1 else None,
        when=when,
        scope=kind,
        opens=opens,
        closes=closes,
        after_scan=shape.judged != "every state",
        after_scan_of=_judged_by(names, path, shape),
        about_signals=shape.about == "signals",
        survives=shape.survives,
        hazards=tuple(shape.hazards),
        place=place,
        within=within,
    )


def _name_of_scan(shape: RequirementShape) -> str:
    """Whose scans a requirement is judged after; empty for any, or in every state."""
    return shape.judged.removeprefix("every state").removeprefix("after scan").removeprefix(" of ")


def _judged_by(names: Names, path: Path, shape: RequirementShape) -> str:
    """The controller after whose scans a requirement is judged; empty for any, or none."""
    name = _name_of_scan(shape)
    if not name:
        return ""
    known = names.known(name, names.shape.controllers, (*path, "judged"), "a controller")
    return name if known else ""


def _check_ever_judged(names: Names, path: Path, shape: RequirementShape, row: PatternRow) -> None:
    """Refuse to demand something of scans of which none need ever come."""
    by = _name_of_scan(shape)
    counted = [one for name, one in names.shape.controllers.items() if by in ("", name)]
    # What has to come on every run, whatever has been before.
    is_demanded = row.wants_p and row.is_of_runs and not row.is_of_states
    if shape.judged == "every state" or not is_demanded or shape.scope is not None:
        return
    if counted and all(one.scans_while is not None for one in counted):
        says = "what has to come has no answer where no scan comes that it is judged after"
        names.mistakes.add(names.document.place((*path, "judged")), says)


def _those(which: Callable[[PatternRow], bool]) -> str:
    """The keys of those patterns."""
    return " or ".join(f"'{patterns.PATTERNS[p].key}'" for p, row in PATTERNS.items() if which(row))


def _within(names: Names, path: Path, shape: RequirementShape, pattern: Pattern) -> Bound | None:
    """The bound of a response; what is wrong with it is noted."""
    row, key = PATTERNS[pattern], patterns.PATTERNS[pattern].bound
    for other in _BOUND_KEYS:
        if other != key and getattr(shape, other) is not None:
            with_ = " or ".join(
                f"'{p.key}'" for p in patterns.PATTERNS.values() if p.bound == other
            )
            said = f"'{other}' goes with {with_} only"
            names.mistakes.add(names.document.key_place((*path, other)), said)
            return None
    given: str | None = getattr(shape, key) if key else None
    if given is None:
        if row.is_timed:
            said = f"'{patterns.PATTERNS[pattern].key}' needs a time: '{key}: 500 ms'"
            names.mistakes.add(names.document.key_place(path), said)
        return None
    here = (*path, key)
    place = names.document.place(here)
    match = _BOUND.fullmatch(given)
    counts_scans = names.shape.run.time is None or (match and match[2].startswith("scan"))
    if names.shape.controllers and counts_scans:
        says = "a bound counts scans, and of several controllers none has the next one for sure"
        names.mistakes.add(place, f"{says}; leave '{key}' out, or give a time and 'run: time'")
        return None
    if match is None or (row.is_timed and match[2].startswith("scan")):
        examples = "'500 ms' or '1.5 s'" if row.is_timed else "'3 scans', '500 ms' or '1.5 s'"
        names.mistakes.add(place, f"'{given}' is no bound; write {examples}")
        return None
    if row.is_timed and names.shape.run.time is None:
        names.mistakes.add(place, f"'{key}' needs a model with time: 'run: {{time: …}}'")
        return None
    # Not a float: 2.01 s are 201 scans of 10 ms, and 2.01 * 1000 is a little less than 2010.
    number, unit = Fraction(match[1]), match[2]
    ms = None
    scans = number
    if not unit.startswith("scan") and names.shape.run.time is not None:
        return _in_time(names, here, shape, row, number * (1000 if unit == "s" else 1))
    if not unit.startswith("scan"):
        if "scan_ms" not in names.shape.run.model_fields_set:
            said = "a bound in time needs the period of the scan: 'run: {scan_ms: …}'"
            names.mistakes.add(place, said)
            return None
        ms = number * (1000 if unit == "s" else 1)
        scans = Fraction(ms // names.shape.run.scan_ms)
    if scans.denominator != 1 or not 1 <= scans <= MAX_SCANS:
        said = (
            f"'{given}' is {float(scans):g} scans; a bound is a whole number from 1 to {MAX_SCANS}"
        )
        names.mistakes.add(place, said)
        return None
    return Bound(int(scans), None if ms is None else float(ms), given)


def _in_time(
    names: Names, path: Path, shape: RequirementShape, row: PatternRow, ms: Fraction
) -> Bound | None:
    """A bound in units of time, rounded so that more is asked; what is wrong with it is noted."""
    place, says = names.document.place(path), getattr(shape, str(path[-1]))
    if shape.judged != "every state":
        said = "a bound in time is judged in every state; leave 'judged: after scan' out"
        names.mistakes.add(place, said)
        return None
    given = names.shape.run.time
    unit_ms = None if given is None else milliseconds(given.unit)
    if not unit_ms:
        return None  # What is wrong with the unit is noted where it stands.
    if row.is_least and not ms:
        names.mistakes.add(place, f"'{says}' demands nothing")
        return None
    units = int(-(-ms // unit_ms)) if row.is_least else int(ms // unit_ms)
    if units > MOST_UNITS:
        said = f"'{says}' is {units:,} units of time; a bound has at most {MOST_UNITS:,}"
        names.mistakes.add(place, said)
        return None
    return Bound.of_time(ms, int(unit_ms), row.is_least, says)


def _formula(names: Names, path: Path, text: str, shape: RequirementShape) -> Formula | None:
    if shape.about == "signals":
        return names.formula(path, text, names.with_signals())
    before = len(names.mistakes.found)
    formula = names.formula(path, text, names.asked())
    for number in range(before, len(names.mistakes.found)):
        names.mistakes.found[number] = names.hint_at_truth(names.mistakes.found[number])
    return formula


def _scope(
    names: Names, path: Path, shape: RequirementShape, pattern: Pattern
) -> tuple[ScopeKind, Formula | None, Formula | None] | None:
    given = shape.scope or ScopeShape.model_validate({})
    texts: dict[str, str | None] = given.model_dump(by_alias=True)
    keys = tuple(key for key, text in texts.items() if text is not None)
    here = (*path, "scope")
    kind = _SCOPES.get(keys)
    if kind is None:
        names.mistakes.add(
            names.document.key_place(here),
            f"a scope is {_WHERE}; given: " + ", ".join(keys),
        )
        return None
    if kind not in PATTERNS[pattern].scopes:
        those = [patterns.SCOPES[one].key for one in ScopeKind if one in PATTERNS[pattern].scopes]
        such = f"'{patterns.PATTERNS[pattern].key}'"
        with_ = " or ".join(f"'{key}'" for key in those[1:])
        said = f"{such} takes a scope with {with_} only" if with_ else f"{such} takes no scope"
        names.mistakes.add(names.document.key_place(here), said)
        return None
    formulas = [_formula(names, (*here, key), texts[key] or "", shape) for key in keys]
    if None in formulas:
        return None
    filled = dict(zip(patterns.SCOPES[kind].parts.values(), formulas, strict=True))
    return kind, filled.get("opens"), filled.get("closes")
