"""Statements."""

from __future__ import annotations

from interlock.st.constructs.row import left_out, refused, taken

_AB = "VAR_INPUT a, b : BOOL; END_VAR VAR_OUTPUT q : BOOL; n : INT; END_VAR\n"

STATEMENTS = (
    taken(
        "assignment",
        "A wider integer may be given to a narrower one; where the value does not fit, it wraps "
        "with a flaw.",
        "VAR_OUTPUT n : INT; END_VAR VAR s : SINT; k : INT := 300; END_VAR\ns := k; n := s;",
        ":=",
        told="'s' is assigned a value outside -128..127",
        n=44,
    ),
    taken(
        "IF",
        "The first branch whose condition is TRUE, else ELSE. No semicolon is needed behind "
        "END_IF, as behind no END.",
        _AB + "IF a THEN n := 1; ELSIF NOT b THEN n := 2; ELSE n := 3; END_IF",
        *("THEN", "ELSIF", "ELSE", "END_IF"),
        n=2,
    ),
    refused(
        "ELSEIF",
        "Not Structured Text; ELSIF is meant.",
        _AB + "IF a THEN n := 1; ELSEIF b THEN n := 2; END_IF",
        "'ELSEIF' is not Structured Text; write ELSIF",
    ),
    taken(
        "CASE",
        "Of integers, bit strings and enumerations; labels are constants, ranges and lists. The "
        "first branch that has a value is executed; where a later one has it again, that is told.",
        _AB + "VAR k : INT := 4; END_VAR\nCASE k OF 1: n := 1; 2, 4..6: n := 2; 4: n := 5; "
        "ELSE n := 3; END_CASE",
        *("OF", "END_CASE"),
        told="an earlier branch of this CASE has 4, so this one is never executed for it",
        n=2,
    ),
    taken(
        "FOR",
        "Bounds and step are worked out once; the variable ends one step past the last. With "
        "constants up to 1,000 passes, else up to 32: one pass more is a flaw.",
        _AB + "VAR i : INT; END_VAR\nFOR i := 1 TO 7 BY 2 DO n := n + i; END_FOR",
        *("TO", "BY", "DO", "END_FOR", "loop"),
        n=16,
    ),
    refused(
        "FOR of too many passes",
        "More than 1,000 passes are not explored.",
        _AB + "VAR i : INT; END_VAR\nFOR i := 1 TO 2000 DO n := i; END_FOR",
        "the loop has 2000 passes; at most 1000 are explored",
    ),
    refused(
        "FOR up to the last value of its type",
        "It ends where its variable is past the last value. Where the type holds no such value it "
        "wraps or stays, and the loop never ends.",
        _AB + "VAR i : USINT; END_VAR\nFOR i := 0 TO 255 DO n := i; END_FOR",
        "this loop never ends: it ends where 'i' is 256, which USINT (0..255) does not hold",
    ),
    taken(
        "WHILE",
        "Its condition is asked before each pass. Up to 32 passes are explored, which is told; "
        "one pass more is a flaw that violates ARITHMETIC.",
        _AB + "WHILE n < 5 DO n := n + 2; END_WHILE",
        "END_WHILE",
        told="explored up to 32 passes; one more is a defect",
        n=6,
    ),
    taken(
        "REPEAT",
        "Its condition is asked behind each pass; else as WHILE.",
        _AB + "REPEAT n := n + 2; UNTIL n >= 5 END_REPEAT",
        *("UNTIL", "END_REPEAT"),
        told="explored up to 32 passes; one more is a defect",
        n=6,
    ),
    taken(
        "EXIT",
        "Leaves the innermost loop.",
        _AB + "VAR i : INT; END_VAR\nFOR i := 1 TO 9 DO IF i = 4 THEN EXIT; END_IF n := i; END_FOR",
        n=3,
    ),
    taken(
        "CONTINUE",
        "Goes on with the next pass of the innermost loop.",
        _AB + "VAR i : INT; END_VAR\n"
        "FOR i := 1 TO 4 DO IF i = 2 THEN CONTINUE; END_IF n := n + i; END_FOR",
        n=8,
    ),
    taken("RETURN", "Ends the call of its unit.", _AB + "n := 1; RETURN; n := 2;", n=1),
    taken(
        "call of a block",
        "t(IN := a, PT := T#1s, Q => q); inputs may be left out and keep what they were given, "
        "arguments may also come in order. Outputs are read as t.Q.",
        "FUNCTION_BLOCK Add VAR_INPUT x, y : INT; END_VAR VAR_OUTPUT s : INT; END_VAR\n"
        "s := x + y; END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR f : Add; END_VAR\n"
        "f(1, 2); f(y := 5, s => n); END_PROGRAM",
        n=6,
    ),
    taken(
        "input given from outside",
        "t.IN := a; gives an input of an instance without calling it.",
        _AB + "VAR t : R_TRIG; END_VAR\nt.CLK := NOT a; t(); q := t.Q;",
        q=1,
    ),
    taken(
        "EN",
        "Where EN is FALSE the call is not executed, ENO is FALSE, and what it gives is the first "
        "value of its type. A standard function with EN stands in an assignment of its own.",
        _AB + "n := 5; n := ADD(EN := a, 1, 2, ENO => q);",
        "ENO",
        q=0,
        n=0,
    ),
    taken(
        "S=",
        "q S= a; and q R= a; of some environments are IF a THEN q := TRUE; END_IF; and q := FALSE.",
        _AB + "q S= TRUE; q R= a; q S= NOT a;",
        "R=",
        q=1,
    ),
    refused(
        "copy of an instance",
        "Copy its variables, one by one.",
        _AB + "VAR t, u : TON; END_VAR\nt(IN := a, PT := T#1s); u := t;",
        "'u' is an instance of TON, and instances are not copied",
    ),
    refused(
        "JMP",
        "Jumps and labels; use IF, a loop or RETURN.",
        _AB + "JMP out;",
        "jumps and labels are not supported",
        *("GOTO", "label"),
    ),
    left_out(
        "REF=",
        "r REF= n; is r := REF(n); what a reference leads to is not known, so what may be written "
        "by it is left out, too.",
        _AB + "VAR r : REFERENCE TO INT; k : INT; END_VAR\nr REF= k; r := 3; n := 1;",
        "left out: it depends on a reference",
    ),
    refused(
        "?=",
        "Which interfaces an instance has is not asked while the program runs.",
        _AB + "VAR r : REFERENCE TO INT; END_VAR\nr ?= n;",
        "?= is not supported",
    ),
    taken("empty statement", "A semicolon by itself.", _AB + ";; n := 1;", ";", n=1),
    taken(
        "missing semicolon",
        "Read over at the end of a line and before a word that ends a body, where nothing else "
        "could stand; before another statement in the same line it is a mistake.",
        _AB + "IF NOT a THEN n := 4 END_IF\nn := n + 1\nq := TRUE;",
        told="';' is missing behind '1' and was taken to stand there",
        n=5,
    ),
)
