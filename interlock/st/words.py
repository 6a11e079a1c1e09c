"""The words of Structured Text, and what to say of words and signs that are none."""

from __future__ import annotations

TYPES = "supported types: BOOL, enumerations, INT (lo..hi)"


def words_of(text: str) -> frozenset[str]:
    """The words of `text`."""
    return frozenset(text.split())


UNITS = words_of("PROGRAM FUNCTION FUNCTION_BLOCK TYPE")
ENDS = words_of(
    "END_PROGRAM END_FUNCTION END_FUNCTION_BLOCK END_TYPE END_CLASS END_METHOD END_INTERFACE "
    "END_NAMESPACE END_CONFIGURATION END_RESOURCE END_ACTION END_PROPERTY END_GET END_SET "
    "END_STRUCT END_UNION END_VAR END_IF END_CASE END_FOR END_WHILE END_REPEAT END_STEP "
    "END_TRANSITION"
)
SECTIONS = words_of(
    "VAR VAR_INPUT VAR_OUTPUT VAR_IN_OUT VAR_TEMP VAR_STAT VAR_INST VAR_GLOBAL VAR_EXTERNAL "
    "VAR_ACCESS VAR_CONFIG"
)
OPERATOR_WORDS = words_of("OR XOR AND NOT MOD AND_THEN OR_ELSE TRUE FALSE")
# No variable can be called like these.
RESERVED = (
    UNITS
    | ENDS
    | SECTIONS
    | OPERATOR_WORDS
    | words_of("IF THEN ELSIF ELSE CASE OF FOR WHILE REPEAT UNTIL RETURN EXIT CONTINUE JMP GOTO")
    | words_of("CONSTANT RETAIN NON_RETAIN ARRAY STRUCT POINTER REF_TO STRING WSTRING")
)

# Words that mean something where another word follows them, and are names elsewhere: programs of
# the standard's second edition call variables so.
SOFT_UNITS = words_of("CLASS INTERFACE NAMESPACE CONFIGURATION RESOURCE")
SOFT_PARTS = words_of("METHOD ACTION PROPERTY STEP INITIAL_STEP TRANSITION")

# Numbers that a literal may have a type for, as in INT#5.
INTEGER_TYPES = words_of("SINT INT DINT LINT USINT UINT UDINT ULINT BYTE WORD DWORD LWORD")

DAYS_AND_LETTERS = words_of("DATE TOD DT TIME_OF_DAY DATE_AND_TIME LDATE LTOD LDT CHAR WCHAR")

# Types of the standard that read like a name and are refused by the checker.
OTHER_TYPES = DAYS_AND_LETTERS | frozenset(
    [
        "SINT",
        "DINT",
        "LINT",
        "USINT",
        "UINT",
        "UDINT",
        "ULINT",
        "REAL",
        "LREAL",
        "BYTE",
        "WORD",
        "DWORD",
        "LWORD",
        "LTIME",
        "TIME",
    ]
)

# Function blocks of the standard that are refused by the checker.
OTHER_BLOCKS = frozenset(
    [
        *("RTC", "SEMA"),
        *(f"{block}_{type_}" for block in ("TON", "TOF", "TP") for type_ in ("TIME", "LTIME")),
    ]
)

# Signs that people of other languages write, each with what is meant here.
FOREIGN_SIGNS = {
    "==": "'==' is not Structured Text; use '=' to compare",
    "!=": "'!=' is not Structured Text; use '<>' to compare",
    "&&": "'&&' is not Structured Text; use AND",
    "|": "'|' is not Structured Text; use OR",
    "||": "'||' is not Structured Text; use OR",
    "!": "'!' is not Structured Text; use NOT",
    "*)": "no comment is open that '*)' could close",
}
