"""Literals and operators."""

from __future__ import annotations

from interlock.st.constructs.row import left_out, refused, taken

_Q = "VAR_OUTPUT q : BOOL; n : INT; END_VAR\n"

EXPRESSIONS = (
    taken(
        "integer literal",
        "10, 1_000, 2#1010, 8#17, 16#FF; with a type as in UINT#5. Without one it has the type "
        "of what it is combined with.",
        _Q + "n := 2#1010 + 16#ff + INT#1_000;",
        *("2#1010", "16#FF", "typed literal"),
        n=1265,
    ),
    taken(
        "duration literal",
        "T#1h2m3s4ms, TIME#1.5s, LTIME#2s: whole milliseconds.",
        _Q + "q := T#1.5s = TIME#1500ms;",
        "T#1s",
        q=1,
    ),
    taken(
        "real literal",
        "1.5, 1.5E-3, LREAL#2.0.",
        _Q + "q := 1.5E1 = 15.0;",
        q=1,
    ),
    taken(
        "AND",
        "AND (or &), OR, XOR and NOT of BOOL, and bit by bit of bit strings and integers, in the "
        "widest of them, literals included. All operands are evaluated; AND_THEN and OR_ELSE have "
        "the same value.",
        _Q + "VAR w : BYTE := 16#0F; END_VAR\nq := TRUE AND NOT (q OR FALSE); n := NOT w;",
        *("OR", "XOR", "NOT", "&", "AND_THEN", "OR_ELSE"),
        q=1,
        n=240,
    ),
    taken(
        "comparison",
        "= <> < > <= >=; of BOOL only = and <>. Values of an enumeration are ordered by their "
        "numbers.",
        _Q + "q := 3 >= 2 AND TRUE <> FALSE;",
        *("=", "<>", "<", ">", "<=", ">="),
        q=1,
    ),
    taken(
        "arithmetic",
        "+ - * / MOD and ** of numbers, left to right. / truncates towards zero, MOD has the sign "
        "of the dividend.",
        _Q + "VAR k : INT := -7; END_VAR\nn := k / 2 * 10 + k MOD 2 + 2 ** 3;",
        *("+", "-", "*", "/", "MOD", "**"),
        n=-23,
    ),
    taken(
        "division by zero",
        "Gives 0 and is a flaw. x MOD 0 is 0 and no flaw.",
        _Q + "VAR k : INT; END_VAR\nn := 7 / k + 5 MOD k;",
        told="division by zero",
        n=0,
    ),
    taken(
        "bit access",
        "w.3 or w.%X3 is a bit of a bit string, read or assigned.",
        _Q + "VAR w : WORD := 16#8000; END_VAR\nw.0 := TRUE; q := w.15 AND w.%X0;",
        "w.3",
        q=1,
    ),
    refused(
        "partial access",
        "Bytes and words of a bit string, as in w.%B1; single bits are taken.",
        _Q + "VAR w : WORD; END_VAR\nn := w.%B1;",
        "'%B1' is not supported; single bits are",
        "%B1",
    ),
    refused(
        "signs of other languages",
        "What is meant is told: = for ==, <> for !=, AND for &&, OR for ||, NOT for !.",
        _Q + "q := n == 1;",
        "'==' is not Structured Text; use '=' to compare",
        *("==", "!=", "&&", "||"),
    ),
    left_out(
        "SIZEOF",
        "Sizes of memory are those of a machine, not of the program.",
        _Q + "VAR k : UDINT; END_VAR\nk := SIZEOF(n); q := TRUE;",
        "SIZEOF",
    ),
)
