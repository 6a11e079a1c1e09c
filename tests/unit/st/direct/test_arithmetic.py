"""Operators and conversions of the direct controller, against numpy's fixed-width numbers."""

from __future__ import annotations

import math
import struct

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError, Place
from interlock.st.direct.arithmetic import Arithmetic, rounded
from interlock.st.direct.conversions import converted
from interlock.st.direct.functions import Functions
from interlock.st.direct.kinds import ELEMENTARY, LITERAL, Kind, Value

HERE = Place("test.st", 1, 1)
_NUMPY = {
    "SINT": np.int8,
    "INT": np.int16,
    "DINT": np.int32,
    "LINT": np.int64,
    "USINT": np.uint8,
    "UINT": np.uint16,
    "UDINT": np.uint32,
    "ULINT": np.uint64,
}
_WHOLE = st.sampled_from(sorted(_NUMPY))
_CHOSEN = settings(max_examples=60, deadline=None)


class _Noted(list[str]):
    """Receives the flaws of operations."""

    def note(self, place: Place, says: str) -> None:
        self.append(says)


def _made(saturates: bool = False) -> tuple[Arithmetic, _Noted]:
    noted = _Noted()
    return Arithmetic(noted.note, saturates), noted


def _numbers(kind: Kind) -> st.SearchStrategy[int]:
    near = st.sampled_from((kind.lo, kind.lo + 1, kind.hi - 1, kind.hi, 0, 1))
    return near | st.integers(kind.lo, kind.hi)


@_CHOSEN
@given(st.data(), _WHOLE, st.sampled_from(("+", "-", "*")))
def test_integers_wrap_as_numpys_of_the_same_width_do(
    data: st.DataObject, name: str, op: str
) -> None:
    kind = ELEMENTARY[name]
    a, b = data.draw(_numbers(kind)), data.draw(_numbers(kind))
    arithmetic, noted = _made()
    found = arithmetic.calculate(op, Value(kind, a), Value(kind, b), HERE)
    x, y = np.array([a], _NUMPY[name]), np.array([b], _NUMPY[name])
    expected = {"+": x + y, "-": x - y, "*": x * y}[op]
    assert found == Value(kind, int(expected[0]))
    exact = {"+": a + b, "-": a - b, "*": a * b}[op]
    assert bool(noted) == (not kind.lo <= exact <= kind.hi)


@_CHOSEN
@given(st.data(), _WHOLE, st.sampled_from(("/", "MOD")))
def test_quotients_are_cut_towards_zero_as_in_c(data: st.DataObject, name: str, op: str) -> None:
    # C99 6.5.5: the quotient is cut towards zero and (a/b)*b + a%b equals a; numpy's fmod is C's.
    kind = ELEMENTARY[name]
    a = data.draw(_numbers(kind))
    b = data.draw(_numbers(kind).filter(bool))
    arithmetic, noted = _made()
    found = arithmetic.calculate(op, Value(kind, a), Value(kind, b), HERE).number
    rest = int(np.fmod(np.array([a], _NUMPY[name]), np.array([b], _NUMPY[name]))[0])
    if op == "MOD":
        assert found == rest
    elif not noted:
        assert found * b + rest == a


@pytest.mark.parametrize(("op", "flaws"), [("/", ["division by zero"]), ("MOD", [])])
def test_a_division_by_zero_gives_zero_and_only_mod_is_no_flaw(op: str, flaws: list[str]) -> None:
    arithmetic, noted = _made()
    kind = ELEMENTARY["INT"]
    assert arithmetic.calculate(op, Value(kind, 7), Value(kind, 0), HERE).number == 0
    assert noted == flaws


@_CHOSEN
@given(st.data(), st.sampled_from((("REAL", np.float32), ("LREAL", np.float64))))
def test_reals_are_rounded_after_every_operation(
    data: st.DataObject, pair: tuple[str, type[np.floating]]
) -> None:
    name, numpy = pair
    kind = ELEMENTARY[name]
    width = 32 if name == "REAL" else 64
    numbers = st.floats(-(2.0**60), 2.0**60, width=width)
    a, b = data.draw(numbers), data.draw(numbers)
    op = data.draw(st.sampled_from(("+", "-", "*", "/")))
    x, y = numpy(a), numpy(b)
    arithmetic, noted = _made()
    found = arithmetic.calculate(op, Value(kind, a), Value(kind, b), HERE).real
    if op == "/" and b == 0:
        assert (found, list(noted)) == (0, ["division by zero"])
        return
    with np.errstate(all="ignore"):
        expected = {"+": x + y, "-": x - y, "*": x * y}.get(op)
        expected = x / y if expected is None else expected
    if np.isfinite(expected):
        assert (found, list(noted)) == (float(expected), [])
    else:
        assert abs(found) == float(np.finfo(numpy).max)
        assert noted == ["the result is no finite number"]


@_CHOSEN
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_binary32_is_what_numpy_rounds_to(number: float) -> None:
    with np.errstate(over="ignore"):
        assert rounded(number, ELEMENTARY["REAL"]) == float(np.float32(number))


@_CHOSEN
@given(st.data(), _WHOLE, _WHOLE)
def test_conversions_between_integers_keep_the_low_bits(
    data: st.DataObject, source: str, target: str
) -> None:
    value = data.draw(_numbers(ELEMENTARY[source]))
    arithmetic, noted = _made()
    found = converted(Value(ELEMENTARY[source], value), ELEMENTARY[target], HERE, arithmetic)
    expected = int(np.array([value], _NUMPY[source]).astype(_NUMPY[target])[0])
    assert found == Value(ELEMENTARY[target], expected)
    assert bool(noted) == (expected != value)


@_CHOSEN
@given(st.floats(-40_000, 40_000))
def test_a_real_number_is_rounded_to_nearest_and_stays_within_the_type(number: float) -> None:
    # IEC 60559 rounding, ties to even, as numpy's rint.
    arithmetic, noted = _made()
    found = converted(Value(ELEMENTARY["LREAL"], number), ELEMENTARY["INT"], HERE, arithmetic)
    nearest = int(np.rint(number))
    assert found.number == min(max(nearest, -32768), 32767)
    assert bool(noted) == (found.number != nearest)


@_CHOSEN
@given(st.integers(0, 255), st.integers(-3, 20), st.sampled_from(("SHL", "SHR", "ROL", "ROR")))
def test_shifts_fill_with_zero_and_rotations_turn(bits: int, count: int, function: str) -> None:
    arithmetic, _ = _made()
    values = [Value(ELEMENTARY["BYTE"], bits), Value(ELEMENTARY["INT"], count)]
    found = Functions(arithmetic).call(function, values, HERE).number
    digits = f"{bits:08b}"
    count = max(count, 0)
    turn = count % 8
    expected = {
        "SHL": (digits + "0" * count)[-8:],
        "SHR": ("0" * count + digits)[:8],
        "ROL": digits[turn:] + digits[:turn],
        "ROR": digits[8 - turn :] + digits[: 8 - turn],
    }[function]
    assert f"{found:08b}" == expected


@pytest.mark.parametrize(
    ("left", "right", "result"),
    [
        ("SINT", "INT", "INT"),
        ("INT", "USINT", "INT"),
        ("INT", "UINT", "DINT"),
        ("UDINT", "SINT", "LINT"),
        ("USINT", "UINT", "UINT"),
        ("BYTE", "USINT", "USINT"),
        ("WORD", "INT", "DINT"),
        ("INT", "REAL", "REAL"),
        ("REAL", "LREAL", "LREAL"),
    ],
)
def test_an_operation_has_the_larger_type(left: str, right: str, result: str) -> None:
    arithmetic, _ = _made()
    one, other = Value(ELEMENTARY[left], 1), Value(ELEMENTARY[right], 1)
    assert arithmetic.calculate("+", one, other, HERE).kind.name == result


def test_a_literal_takes_the_type_that_it_meets_where_it_fits() -> None:
    arithmetic, noted = _made()
    byte = Value(ELEMENTARY["USINT"], 255)
    assert arithmetic.calculate("+", byte, Value(LITERAL, 1), HERE) == Value(byte.kind, 0)
    assert noted == ["the result does not fit USINT (0..255)"]
    wider = arithmetic.calculate("+", byte, Value(LITERAL, 1000), HERE)
    assert (wider.kind.name, wider.number) == ("INT", 1255)


def test_what_does_not_fit_saturates_where_that_is_asked() -> None:
    arithmetic, noted = _made(saturates=True)
    kind = ELEMENTARY["INT"]
    assert arithmetic.calculate("*", Value(kind, 300), Value(kind, -300), HERE).number == -32768
    assert len(noted) == 1


def test_functions_of_real_numbers_are_the_mathematics_librarys() -> None:
    arithmetic, noted = _made()
    functions = Functions(arithmetic)
    for name, of in (("SQRT", math.sqrt), ("LN", math.log), ("EXP", math.exp), ("ATAN", math.atan)):
        value = Value(ELEMENTARY["REAL"], 0.5)
        expected = struct.unpack("<f", struct.pack("<f", of(0.5)))[0]
        assert functions.call(name, [value], HERE).real == expected
    assert functions.call("SQRT", [Value(ELEMENTARY["LREAL"], -1.0)], HERE).real == 0
    assert noted == ["the result is no finite number"]


def test_bool_and_numbers_do_not_go_together() -> None:
    arithmetic, _ = _made()
    with pytest.raises(InputError, match="BOOL and INT"):
        arithmetic.bitwise("AND", Value(ELEMENTARY["BOOL"], 1), Value(ELEMENTARY["INT"], 3), HERE)
