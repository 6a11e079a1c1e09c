"""Which functions are the standard's, so that nobody's code is called and nothing is written."""

from __future__ import annotations

import re

from interlock.st.blocks import BLOCKS, FUNCTIONS
from interlock.st.types import elementary_names

CONVERSION = re.compile(r"(?:([A-Z]+)_)?TO_([A-Z]+)|(?:L?REAL_)?TRUNC(?:_([A-Z]+))?")
"""How conversions between numbers are called: from which type, and to which."""

_TEXT = "W?STRING|L?DATE|L?DT|L?TOD|L?DATE_AND_TIME|L?TIME_OF_DAY|W?CHAR"
_DAY = "L?DATE|L?TOD|L?DT"
_OF_TEXTS = re.compile(
    rf"(?:[A-Z]+_)?TO_(?:{_TEXT})|(?:{_TEXT})_TO_(?:{_TEXT}|[A-Z]+)|"
    r"LEN|LEFT|RIGHT|MID|CONCAT|INSERT|DELETE|REPLACE|FIND|DAY_OF_WEEK|ADR|ADRINST|X?SIZEOF|"
    rf"CONCAT_(?:{_DAY})(?:_L?TOD)?|(?:ADD|SUB)_(?:{_DAY})_(?:{_DAY}|L?TIME)"
)


BOUNDS = ("LOWER_BOUND", "UPPER_BOUND")
"""Functions of an array's limits, which no statement has to work out."""


def is_standard(name: str) -> bool:
    """Whether `name` is a function of the standard on numbers, or a conversion between them."""
    upper = name.upper()
    found = CONVERSION.fullmatch(upper)
    types = () if found is None else filter(None, found.groups())
    return upper in FUNCTIONS or (found is not None and set(types) <= set(elementary_names()))


def is_of_texts(name: str) -> bool:
    """Whether `name` is a function of the standard on texts and dates, or asks for an address."""
    return _OF_TEXTS.fullmatch(name.upper()) is not None


def is_of_the_language(name: str) -> bool:
    """Whether a function or a block called so is no code of anybody's."""
    upper = name.upper()
    return is_standard(name) or is_of_texts(name) or upper in {*BLOCKS, *BOUNDS, "REF"}
