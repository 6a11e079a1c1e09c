"""What the wires of a network carry, by the values that its variables have in one state.

It is the network evaluated once more on these values, as a monitor shows it: within the scan that
led there a variable may have had another value when its turn came.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from interlock.exchange.signs import RAIL, Port, Sign

Value = int | float | None
_Key = tuple[int, str]


@dataclass(frozen=True)
class Values:
    """The values of a state, as one body names them.

    Attributes
    ----------
    read : callable
        The value of a variable by its name in the body; None where it is not known.
    label : callable
        The value of a variable in words, by its name and value.
    is_bool : callable
        Whether a variable of the body is a BOOL.
    """

    read: Callable[[str], Value]
    label: Callable[[str, Value], str]
    is_bool: Callable[[str], bool]

    def said(self, name: str) -> str:
        """The value of a variable in words; empty where it is not known."""
        value = self.read(name)
        return "" if value is None else self.label(name, value)

    def is_truth(self, source: Sign, output: str) -> bool:
        """Whether what a sign gives is a truth value."""
        if source.kind == "block":
            if source.instance:
                return self.is_bool(f"{source.instance}.{output}")
            return source.text.upper() in _TRUTHS or output.upper() == "ENO"
        return source.kind in ("contact", "coil") or self.is_bool(source.text)


def power_of(signs: Iterable[Sign], values: Values) -> Mapping[_Key, Value]:
    """What each output of `signs` carries; None where it is not known.

    Parameters
    ----------
    signs : iterable of Sign
        What gives before what takes.
    values : Values
    """
    found: dict[_Key, Value] = {}
    for sign in signs:
        for output in sign.outputs if sign.is_block else [""]:
            found[(id(sign), output)] = _given(sign, output, values, found)
    return found


def _comes(port: Port, found: Mapping[_Key, Value]) -> Value:
    parts: list[Value] = []
    for source, output in port.sources:
        if source.kind == RAIL:
            parts.append(1)
            continue
        name = source.outputs[source.line_of(output)] if source.is_block and source.outputs else ""
        parts.append(found.get((id(source), name)))
    value = parts[0] if len(parts) == 1 else _any(parts)
    if port.edge:
        return None
    return _not(value) if port.negated else value


def _any(parts: Sequence[Value]) -> Value:
    if any(parts):
        return 1
    return None if None in parts or not parts else 0


def _all(parts: Sequence[Value]) -> Value:
    if any(part is not None and not part for part in parts):
        return 0
    return None if None in parts or not parts else 1


def _not(value: Value) -> Value:
    return None if value is None else int(not value)


def _given(sign: Sign, output: str, values: Values, found: Mapping[_Key, Value]) -> Value:
    comes = [_comes(port, found) for port in sign.ports]
    match sign.kind:
        case "contact":
            own = None if sign.edge else values.read(sign.text)
            return _all([*comes, _not(own) if sign.negated else own])
        case "inVariable":
            own = _literal(sign.text)
            own = values.read(sign.text) if own is None else own
            return None if sign.edge else _not(own) if sign.negated else own
        case "block":
            if sign.instance:
                value = values.read(f"{sign.instance}.{output}")
            elif output.upper() == "ENO":
                value = comes[0] if comes else None
            else:
                value = _of_function(sign, comes)
            return _not(value) if output in sign.negated_outputs else value
        case "coil" | "connector":
            return comes[0] if comes else None
    return values.read(sign.text)


def _literal(text: str) -> Value:
    if text.upper() in ("TRUE", "FALSE"):
        return int(text.upper() == "TRUE")
    return int(text) if text.isdecimal() else None


def _of_function(sign: Sign, comes: Sequence[Value]) -> Value:
    name = sign.text.upper()
    given = [v for v, port in zip(comes, sign.ports, strict=True) if port.name.upper() != "EN"]
    if name in ("AND", "&"):
        return _all(given)
    if name in ("OR", ">=1"):
        return _any(given)
    if None in given or not given:
        return None
    known = [v for v in given if v is not None]
    if name == "NOT":
        return int(not known[0])
    if name == "MOVE":
        return known[0]
    if name in ("XOR", "=1"):
        return sum(map(bool, known)) % 2
    if len(known) == 2 and name in _COMPARES:
        return int(_COMPARES[name](known[0], known[1]))
    if name == "SEL" and len(known) == 3:
        return known[2] if known[0] else known[1]
    return None


_COMPARES: Mapping[str, Callable[[float, float], bool]] = {
    "EQ": lambda a, b: a == b,
    "NE": lambda a, b: a != b,
    "LT": lambda a, b: a < b,
    "LE": lambda a, b: a <= b,
    "GT": lambda a, b: a > b,
    "GE": lambda a, b: a >= b,
}
_TRUTHS = frozenset(("AND", "&", "OR", ">=1", "XOR", "=1", "NOT", *_COMPARES))
