"""Types."""

from __future__ import annotations

from interlock.st.constructs.row import left_out, refused, taken

TYPES = (
    taken(
        "BOOL",
        "FALSE and TRUE; 0 and 1 may be written for them.",
        "VAR_OUTPUT q : BOOL; END_VAR\nq := 1;",
        *("TRUE", "FALSE"),
        q=1,
    ),
    taken(
        "INT",
        "SINT, INT, DINT and LINT are signed with 8, 16, 32 and 64 bits, USINT, UINT, UDINT and "
        "ULINT unsigned. Which values a variable really takes is inferred from the program. "
        "64-bit values must stay within +-2^62.",
        "VAR_OUTPUT n : INT; END_VAR VAR u : USINT := 200; k : INT := 100; END_VAR\nn := u + k;",
        *("SINT", "DINT", "LINT", "USINT", "UINT", "UDINT", "ULINT", "integer"),
        n=300,
    ),
    taken(
        "integer overflow",
        "An operation is done in the larger type of its operands. A result that does not fit "
        "wraps modulo 2^n, or saturates where the model says run: {overflow: saturate}. "
        "Where it can be reached the requirement ARITHMETIC is violated at that place.",
        "VAR_OUTPUT n : INT; END_VAR VAR k : INT := 32767; END_VAR\nk := k + 1; n := k;",
        *("overflow", "wrap", "saturate"),
        told="the result does not fit INT (-32768..32767)",
        n=-32768,
    ),
    taken(
        "subrange",
        "INT (0..3): a value outside is a flaw and clamped to the nearest.",
        "VAR_OUTPUT n : INT (0..3); END_VAR\nn := n + 2; n := n + 2;",
        told="'n' is assigned a value outside 0..3",
        n=3,
    ),
    taken(
        "WORD",
        "BYTE, WORD, DWORD and LWORD are strings of 8, 16, 32 and 64 bits. In arithmetic and "
        "comparisons they count as the unsigned number of their width.",
        "VAR_OUTPUT n : INT; END_VAR VAR w : WORD := 16#F0; END_VAR\nn := w AND 16#30;",
        *("BYTE", "DWORD", "LWORD", "bit string"),
        n=48,
    ),
    taken(
        "REAL",
        "REAL is binary32 and LREAL binary64 of IEEE 754, rounded after each operation. A "
        "variable that is remembered must come to finitely many values.",
        "VAR_OUTPUT q : BOOL; END_VAR VAR x : REAL; END_VAR\nx := 16777216.0; q := x + 1.0 = x;",
        "LREAL",
        q=1,
    ),
    taken(
        "TIME",
        "Whole milliseconds, signed, with 32 bits; LTIME with 64. Sums, differences, comparisons, "
        "and products and quotients with an integer.",
        "VAR_OUTPUT q : BOOL; END_VAR VAR t : TIME; END_VAR\nt := T#1s500ms * 2; q := t = T#3s;",
        "LTIME",
        q=1,
    ),
    taken(
        "enumeration",
        "Its values in order; it starts with the first. E#V and E.V name a value of E.",
        "TYPE Gear : (PARK, ROAD, LOW); END_TYPE\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR VAR g : Gear; END_VAR\n"
        "g := ROAD; q := g <> Gear#PARK AND g = Gear.ROAD; END_PROGRAM",
        q=1,
    ),
    taken(
        "enumeration with numbers",
        "Values may have numbers and a base type; where an integer is wanted a value is its "
        "number, and a variable that is given a number has the value with that number. Where none "
        "has it that is a flaw, and the first value is taken.",
        "TYPE Gear : (PARK, ROAD := 5, LOW) USINT; END_TYPE\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR g : Gear := 5; END_VAR\n"
        "g := g + 1; n := g + 1; END_PROGRAM",
        n=7,
    ),
    taken(
        "STRUCT",
        "Each member is a variable; assigned as a whole or by its members, compared by these.",
        "TYPE Pair : STRUCT x : INT := 4; y : BOOL; END_STRUCT; END_TYPE\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR a, b : Pair; END_VAR\n"
        "a.x := 3; b := a; n := b.x; END_PROGRAM",
        "END_STRUCT",
        n=3,
    ),
    taken(
        "ARRAY",
        "Of one or more dimensions, at most 4,096 elements; an index may be computed.",
        "VAR_OUTPUT n : INT; END_VAR VAR a : ARRAY [0..1, 1..2] OF INT; i : INT := 1; END_VAR\n"
        "a[1, 2] := 7; n := a[i, i + 1];",
        n=7,
    ),
    taken(
        "index outside",
        "A flaw: reading gives the nearest element, and what is written is dropped.",
        "VAR_OUTPUT n : INT; END_VAR VAR a : ARRAY [1..3] OF INT := [5, 6, 7]; END_VAR\n"
        "n := a[n + 9];",
        told="the index is outside 1..3",
        n=7,
    ),
    taken(
        "ARRAY [*] as VAR_IN_OUT",
        "The caller's array, whose limits are LOWER_BOUND(a, 1) and UPPER_BOUND(a, 1).",
        "FUNCTION Sum : INT VAR_IN_OUT v : ARRAY [*] OF INT; END_VAR VAR i : DINT; END_VAR\n"
        "FOR i := LOWER_BOUND(v, 1) TO UPPER_BOUND(v, 1) DO Sum := Sum + v[i]; END_FOR\n"
        "END_FUNCTION\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR\n"
        "VAR w : ARRAY [2..4] OF INT := [3(5)]; END_VAR n := Sum(w); END_PROGRAM",
        *("LOWER_BOUND", "UPPER_BOUND"),
        n=15,
    ),
    left_out(
        "ARRAY [*] as VAR_INPUT",
        "An array of any length that is copied; make it VAR_IN_OUT.",
        "FUNCTION Sum : INT VAR_INPUT v : ARRAY [*] OF INT; END_VAR Sum := v[1]; END_FUNCTION\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR\n"
        "VAR w : ARRAY [0..1] OF INT; k : INT; END_VAR k := Sum(w); q := TRUE; END_PROGRAM",
        "an array of any length",
    ),
    taken(
        "TYPE",
        "Gives a type a name, perhaps with an initial value for all its variables.",
        "TYPE Percent : INT (0..100) := 50; END_TYPE\n"
        "PROGRAM Main VAR_OUTPUT n : Percent; END_VAR n := n + 1; END_PROGRAM",
        "END_TYPE",
        n=51,
    ),
    left_out(
        "UNION",
        "Members that share memory. What depends on them is left out, like texts.",
        "TYPE Both : UNION a : INT; b : WORD; END_UNION; END_TYPE\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR VAR u : Both; END_VAR\n"
        "u.a := 1; q := TRUE; END_PROGRAM",
        "left out: it depends on a union",
        "END_UNION",
    ),
    refused(
        "OVERLAP",
        "Members that share memory.",
        "TYPE s : STRUCT OVERLAP a AT %B0 : INT; END_STRUCT; END_TYPE\nPROGRAM Main ; END_PROGRAM",
        "OVERLAP is not supported",
    ),
    left_out(
        "STRING",
        "Texts have no finite meaning here. What depends on them is left out. Where no output "
        "would be left then, or none that a requirement names, what compares them has either "
        "answer in any scan, which is told as for REAL as an input.",
        "VAR_OUTPUT q : BOOL; END_VAR VAR s : STRING; END_VAR\ns := 'ready'; q := TRUE;",
        "left out: it depends on a text",
        *("WSTRING", "CHAR", "WCHAR", "text"),
    ),
    left_out(
        "DATE",
        "Dates and times of day have no finite meaning here, like texts.",
        "VAR_OUTPUT q : BOOL; END_VAR VAR d : DATE; END_VAR\nd := D#2024-02-29; q := TRUE;",
        "left out: it depends on a date",
        *("TOD", "DT", "TIME_OF_DAY", "DATE_AND_TIME", "LDATE", "LTOD", "LDT"),
    ),
    left_out(
        "POINTER TO",
        "What a pointer or a reference leads to is not known from the text; what depends on it is "
        "left out, like texts. That what is written stays within the variables whose addresses are "
        "taken is assumed, and told. VAR_IN_OUT hands a variable on.",
        "VAR_OUTPUT q : BOOL; END_VAR VAR p : POINTER TO INT; n : INT; END_VAR\n"
        "p := ADR(n); q := TRUE;",
        "left out: it depends on a pointer",
        *("POINTER", "REFERENCE", "REF_TO", "ADR", "REF"),
    ),
    refused(
        "output that depends on what is left out",
        "Where texts, dates or pointers are in every output nothing could be judged. Where they "
        "are in some, these are left out, and told; a requirement that names one is a mistake.",
        "VAR_OUTPUT n : INT; END_VAR VAR s : STRING; END_VAR\ns := 'a'; n := LEN(s);",
        "output 'n' depends on",
    ),
)
