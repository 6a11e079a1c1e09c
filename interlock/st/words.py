"""The words of Structured Text: what is supported, and what to say of the rest."""

from __future__ import annotations

STATEMENTS = "supported statements: assignment, IF, CASE, function block call"
BLOCKS = "supported declarations: VAR_INPUT, VAR_OUTPUT, VAR, each but VAR_INPUT also RETAIN"
UNITS = "supported: TYPE with enumerations, then one PROGRAM"
TYPES = "supported types: BOOL, enumerations, INT (lo..hi)"

KEYWORDS = frozenset(
    [
        "PROGRAM",
        "END_PROGRAM",
        "TYPE",
        "END_TYPE",
        "VAR_INPUT",
        "VAR_OUTPUT",
        "VAR",
        "RETAIN",
        "END_VAR",
        "IF",
        "THEN",
        "ELSIF",
        "ELSE",
        "END_IF",
        "CASE",
        "OF",
        "END_CASE",
        "OR",
        "XOR",
        "AND",
        "NOT",
        "MOD",
        "TRUE",
        "FALSE",
    ]
)


def _all(words: str, advice: str) -> dict[str, str]:
    return dict.fromkeys(words.split(), advice)


# Words of IEC 61131-3 that interlock refuses, each with what can be used in its place.
UNSUPPORTED: dict[str, str] = {
    **_all(
        "FOR END_FOR WHILE END_WHILE REPEAT END_REPEAT UNTIL RETURN EXIT CONTINUE GOTO JMP",
        STATEMENTS,
    ),
    **_all(
        "VAR_IN_OUT VAR_GLOBAL VAR_EXTERNAL VAR_TEMP VAR_ACCESS VAR_CONFIG CONSTANT NON_RETAIN",
        BLOCKS,
    ),
    **_all(
        "FUNCTION END_FUNCTION FUNCTION_BLOCK END_FUNCTION_BLOCK CONFIGURATION "
        "END_CONFIGURATION RESOURCE END_RESOURCE CLASS END_CLASS METHOD END_METHOD INTERFACE "
        "END_INTERFACE NAMESPACE END_NAMESPACE ACTION END_ACTION",
        UNITS,
    ),
    **_all("ARRAY STRUCT END_STRUCT POINTER REF_TO STRING WSTRING", TYPES),
}

# Types of the standard that read like a name and are refused by the checker.
OTHER_TYPES = frozenset(
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
        "DATE",
        "TOD",
        "DT",
        "TIME_OF_DAY",
        "DATE_AND_TIME",
        "BYTE",
        "WORD",
        "DWORD",
        "LWORD",
        "LTIME",
        "LDATE",
        "LTOD",
        "LDT",
        "CHAR",
        "WCHAR",
        "TIME",
    ]
)

# Function blocks of the standard that are refused by the checker.
OTHER_BLOCKS = frozenset(
    [
        *("CTD", "CTUD", "RTC", "SEMA"),
        *(f"{block}_{type_}" for block in ("TON", "TOF", "TP") for type_ in ("TIME", "LTIME")),
        *(
            f"{block}_{type_}"
            for block in ("CTU", "CTD", "CTUD")
            for type_ in ("INT", "DINT", "LINT", "UDINT", "ULINT")
        ),
    ]
)

RESERVED = KEYWORDS | frozenset(UNSUPPORTED)

# Signs that people of other languages write, each with what is meant here.
FOREIGN_SIGNS: tuple[tuple[str, str], ...] = (
    ("==", "'==' is not Structured Text; use '=' to compare"),
    ("!=", "'!=' is not Structured Text; use '<>' to compare"),
    ("&&", "'&&' is not Structured Text; use AND"),
    ("||", "'||' is not Structured Text; use OR"),
    ("**", "'**' (power) is not supported; supported operators: + - * / MOD"),
    ("!", "'!' is not Structured Text; use NOT"),
    ("{", "pragmas are not supported: nothing of a program may be hidden from the check"),
    ("'", "strings are not supported; " + TYPES),
    ('"', "strings are not supported; " + TYPES),
    ("[", "arrays are not supported; " + TYPES),
    ("^", "pointers are not supported; " + TYPES),
    ("%", "direct addresses are not supported; declare inputs in VAR_INPUT, outputs in VAR_OUTPUT"),
)
