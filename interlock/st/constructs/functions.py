"""Standard functions and function blocks."""

from __future__ import annotations

from interlock.st.constructs.row import left_out, refused, taken

_Q = "VAR_OUTPUT q : BOOL; n : INT; END_VAR\n"

FUNCTIONS = (
    taken(
        "operators as functions",
        "ADD, MUL, AND, OR, XOR and the comparisons of two or more; SUB, DIV, MOD, EXPT, NE of "
        "two; NOT of one. GT(a, b, c) means a > b and b > c.",
        _Q + "q := AND(GT(3, 2, 1), NOT(EQ(1, 2))); n := ADD(1, MUL(2, 3), SUB(5, 4));",
        *("ADD", "MUL", "SUB", "DIV", "EXPT", "GT", "GE", "EQ", "LE", "LT", "NE"),
        q=1,
        n=8,
    ),
    taken(
        "functions of times",
        "ADD_TIME, SUB_TIME, MUL_TIME, DIV_TIME and those of LTIME mean the operators; MULTIME and "
        "DIVTIME are older names.",
        _Q + "q := ADD_TIME(MULTIME(T#2s, 3), T#1s) = SUB_TIME(T#8s, DIV_TIME(T#3s, 3));",
        *("ADD_TIME", "SUB_TIME", "MUL_TIME", "DIV_TIME", "MULTIME", "DIVTIME"),
        *("ADD_LTIME", "SUB_LTIME", "MUL_LTIME", "DIV_LTIME"),
        q=1,
    ),
    taken("SEL", "SEL(g, a, b) is b where g is TRUE, else a.", _Q + "n := SEL(TRUE, 1, 2);", n=2),
    taken(
        "MUX",
        "MUX(k, a, b, …) is the k-th, counted from 0; with k outside the nearest, with a flaw.",
        _Q + "n := MUX(1, 4, 5, 6);",
        n=5,
    ),
    taken(
        "MIN",
        "MIN and MAX of two or more; LIMIT(least, x, greatest).",
        _Q + "n := MIN(7, MAX(1, 5)) + LIMIT(0, 9, 3);",
        *("MAX", "LIMIT"),
        n=8,
    ),
    taken("ABS", "The number without its sign.", _Q + "n := ABS(-3);", n=3),
    taken("MOVE", "Its argument.", _Q + "n := MOVE(3);", n=3),
    taken(
        "SHL",
        "SHL and SHR fill with 0, ROL and ROR rotate; of bit strings, within their width.",
        _Q + "VAR b : BYTE := 16#81; END_VAR\nn := SHL(b, 1) + ROL(b, 1);",
        *("SHR", "ROL", "ROR", "shift"),
        n=5,
    ),
    taken(
        "conversion",
        "X_TO_Y and TO_Y among the elementary types. An integer that does not fit wraps with a "
        "flaw; bit strings keep their low bits; a REAL is rounded to the nearest integer, ties to "
        "the even one, and saturates with a flaw; TO_BOOL means <> 0; TIME counts in ms.",
        _Q + "n := REAL_TO_INT(2.5) + BOOL_TO_INT(TRUE) + DINT_TO_INT(TIME_TO_DINT(T#10ms));",
        *("INT_TO_REAL", "REAL_TO_INT", "TO_INT", "X_TO_Y"),
        n=13,
    ),
    taken(
        "TRUNC",
        "A REAL cut towards zero; also REAL_TRUNC_INT and the like.",
        _Q + "VAR x : REAL := -2.7; END_VAR\nn := DINT_TO_INT(TRUNC(x)) + REAL_TRUNC_INT(x);",
        n=-4,
    ),
    taken(
        "SQRT",
        "SQRT LN LOG EXP SIN COS TAN ASIN ACOS ATAN, of REAL and LREAL.",
        _Q + "q := SQRT(2.0) > 1.4;",
        *("LN", "LOG", "EXP", "SIN", "COS", "TAN", "ASIN", "ACOS", "ATAN"),
        q=1,
    ),
    left_out(
        "functions of texts",
        "LEN, CONCAT, FIND and the like, and conversions to and from texts, as all texts.",
        _Q + "VAR s : STRING; END_VAR\ns := CONCAT('a', 'b'); q := TRUE;",
        "left out: it depends on",
        *("LEN", "CONCAT", "LEFT", "RIGHT", "MID", "INSERT", "DELETE", "REPLACE", "FIND"),
    ),
    left_out(
        "code that is not in the files given",
        "It may write each variable that it is given with := or =>, but for inputs, and each "
        "global: these have any value from there on. What it gives back has any value, where "
        "what reads it tells the type. A name with one letter wrong is refused.",
        _Q + "Foo(3); q := TRUE;",
        "left out: it depends on the function Foo",
    ),
)

BLOCKS = (
    taken(
        "TON",
        "Q rises when IN has been TRUE for PT. With free timers (the default) it rises at any "
        "later moment, but surely; with counted timers after so many scans. ET may be read only "
        "with counted timers.",
        _Q + "VAR t : TON; END_VAR\nt(IN := TRUE, PT := T#1s); q := NOT t.Q;",
        *("ET", "timer", "PT"),
        q=1,
    ),
    taken(
        "TOF",
        "Q falls when IN has been FALSE for PT. Time passes as for TON.",
        _Q + "VAR t : TOF; END_VAR\nt(IN := TRUE, PT := T#1s); t(IN := FALSE); q := t.Q;",
        q=1,
    ),
    taken(
        "TP",
        "A pulse of PT from a rise of IN, whatever IN does then. Time passes as for TON.",
        _Q + "VAR t : TP; END_VAR\nt(IN := TRUE, PT := T#1s); t(IN := FALSE); q := t.Q;",
        q=1,
    ),
    taken(
        "R_TRIG",
        "Q is TRUE in the one call in which CLK rises; of F_TRIG, in which CLK falls.",
        _Q + "VAR r : R_TRIG; f : F_TRIG; END_VAR\n"
        "r(CLK := TRUE); f(CLK := TRUE); f(CLK := FALSE); q := r.Q AND f.Q;",
        "F_TRIG",
        q=1,
    ),
    taken(
        "SR",
        "Set and reset; SR is set where both are TRUE, RS reset.",
        _Q + "VAR s : SR; r : RS; END_VAR\n"
        "s(S1 := TRUE, R := TRUE); r(S := TRUE, R1 := TRUE); q := s.Q1 AND NOT r.Q1;",
        "RS",
        q=1,
    ),
    taken(
        "CTU",
        "CTU counts rises of CU up to PV, CTD of CD down from PV, CTUD both. A counter is told "
        "apart only as far as the program compares it.",
        _Q + "VAR c : CTU; END_VAR\n"
        "c(CU := TRUE, PV := 2); c(CU := FALSE); c(CU := TRUE); q := c.Q; n := MIN(c.CV, 9);",
        *("CTD", "CTUD", "counter"),
        q=1,
        n=2,
    ),
    taken(
        "blocks with a type in their name",
        "CTU_DINT, CTD_ULINT and the like count in that type; CTU, CTD and CTUD in INT. TON_TIME "
        "is TON, and so with TOF and TP.",
        _Q + "VAR c : CTD_DINT; t : TON_TIME; k : DINT; END_VAR\n"
        "c(CD := FALSE, LD := TRUE, PV := 100000); t(IN := TRUE, PT := T#1s);\n"
        "k := c.CV / 10; n := k;",
        *(f"{b}_{t}" for b in ("CTU", "CTD", "CTUD") for t in ("INT", "DINT", "LINT", "UDINT")),
        *("CTU_ULINT", "CTD_ULINT", "CTUD_ULINT", "TON_TIME"),
        n=10000,
    ),
    refused(
        "TON_LTIME",
        "Timers of LTIME; use TON, TOF and TP, which have milliseconds.",
        _Q + "VAR t : TON_LTIME; END_VAR\nt(IN := TRUE, PT := T#1s);",
        "type 'TON_LTIME' is not declared",
        *("TOF_LTIME", "TP_LTIME"),
    ),
)
