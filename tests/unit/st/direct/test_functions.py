"""What the text's interpreter computes that the checker takes as any value would differ."""

from __future__ import annotations

from interlock.st.blocks import FUNCTIONS
from interlock.st.direct import functions as direct
from interlock.st.elaborate.wanted import is_standard
from interlock.st.types import elementary_names

# Nothing is made of texts but answers, and of these angles any value.
_ELSEWHERE = {
    *("ATAN2", "LEN", "CONCAT", "LEFT", "RIGHT", "MID", "FIND", "INSERT", "DELETE", "REPLACE")
}
_OF_TEXTS = ("STRING", "WSTRING")


def _named() -> set[str]:
    """Every name in the tables of the interpreter, and every conversion between numbers."""
    tables = [value for value in vars(direct).values() if isinstance(value, dict | frozenset)]
    words = {word for table in tables for word in table if isinstance(word, str)}
    numbers = [name for name in elementary_names() if name not in _OF_TEXTS]
    conversions = {f"{a}_TO_{b}" for a in numbers for b in numbers if a != b}
    cut = {f"{real}TRUNC_{b}" for real in ("", "REAL_", "LREAL_") for b in ("INT", "DINT", "LINT")}
    return {w for w in words if w.isupper() and len(w) > 1} | conversions | cut


def test_both_interpreters_know_the_same_functions() -> None:
    known = {name for name in _named() if direct.is_standard(name)}
    assert {"MUL_TIME", "REAL_TRUNC_DINT", "SEL", "INT_TO_REAL"} <= known
    assert {name for name in known if not is_standard(name)} == _ELSEWHERE


def test_the_interpreter_of_the_text_knows_every_function_of_the_checker() -> None:
    assert all(direct.is_standard(name) for name in FUNCTIONS)
