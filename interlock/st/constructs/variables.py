"""Declarations of variables."""

from __future__ import annotations

from interlock.st.constructs.row import refused, taken

VARIABLES = (
    taken(
        "VAR",
        "Keeps its value from scan to scan, and in an instance from call to call. One of a PROGRAM "
        "that nothing writes and that has no initial value is an input of the root where neither "
        "it nor a global has any other way in, which is told. What a model names as an input or "
        "output is one, as at an address that is given elsewhere; such an input nothing may write.",
        "VAR_OUTPUT n : INT; END_VAR VAR k : INT := 4; END_VAR\nk := k + 1; n := k;",
        "END_VAR",
        n=5,
    ),
    taken(
        "VAR_INPUT",
        "Of the root: what a sensor of the model gives, or any value in any scan where none does. "
        "Of a block: kept between calls, may be left out, and be given from outside.",
        "VAR_INPUT a : BOOL; n0 : INT; END_VAR VAR_OUTPUT q : BOOL; END_VAR\nq := a OR n0 < 3;",
        "free input",
        q=1,
    ),
    taken(
        "VAR_OUTPUT",
        "Of the root: written to the plant at the end of the scan. It keeps its value.",
        "VAR_OUTPUT n : INT := 7; END_VAR\nn := n + 1;",
        n=8,
    ),
    taken(
        "VAR_IN_OUT",
        "The caller's variable itself.",
        "FUNCTION_BLOCK Up VAR_IN_OUT v : INT; END_VAR v := v + 1; END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR u : Up; END_VAR u(v := n); END_PROGRAM",
        n=1,
    ),
    taken(
        "VAR_TEMP",
        "No memory: it starts anew in each scan and at each call.",
        "VAR_OUTPUT n : INT; END_VAR VAR_TEMP k : INT; END_VAR\nk := k + 2; n := k;",
        n=2,
    ),
    taken(
        "VAR_STAT",
        "Persists, in a FUNCTION and a METHOD, too: there one for all instances, and VAR_INST one "
        "for each.",
        "FUNCTION Up : INT VAR_STAT k : INT; END_VAR k := k + 1; Up := k; END_FUNCTION\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR n := Up(); n := Up(); END_PROGRAM",
        "VAR_INST",
        n=2,
    ),
    taken(
        "VAR_GLOBAL",
        "One variable for the whole project. What nothing that is executed writes keeps its "
        "initial value where it has one, and is an input where it has none; both are told. A model "
        "may name one as an input or output, see VAR.",
        "VAR_GLOBAL g : INT := 4; END_VAR\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR g := g + 1; n := g; END_PROGRAM",
        "VAR_EXTERNAL",
        n=5,
    ),
    taken(
        "name in quotes",
        "Where quotes stand round names, one that no file declares is a global of a list that lies "
        "elsewhere, of the type that all its uses show, which is told; where they show none or "
        "two, that is a mistake. What no name can hold is a _, and its code stands behind it. "
        "Beside a variable of the unit with its name it is called with a _ behind it. "
        "What nothing that is executed writes is an input; a model may name others as outputs.",
        'FUNCTION_BLOCK "Pump" VAR_OUTPUT n : INT; END_VAR BEGIN\n'
        'IF NOT "stop" AND "level" < 3 THEN #n := "level" + 5; END_IF;\nEND_FUNCTION_BLOCK',
        "tag",
        told="'level' is not declared: taken for a global INT of a file not given",
        n=5,
    ),
    taken(
        "CONSTANT",
        "Its value is known; it may stand in limits, labels and presets.",
        "VAR CONSTANT N : INT := 3; END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        "VAR a : ARRAY [1..N] OF BOOL := [3(TRUE)]; END_VAR\nq := a[N];",
        q=1,
    ),
    refused(
        "CONST",
        "Not Structured Text; CONSTANT is meant.",
        "VAR CONST N : INT := 3; END_VAR VAR_OUTPUT n0 : INT; END_VAR\nn0 := N;",
        "'CONST' is not Structured Text; write CONSTANT",
    ),
    taken(
        "RETAIN",
        "Survives a restart of the program; everything else starts with its initial value. "
        "PERSISTENT means the same.",
        "VAR RETAIN n0 : INT; END_VAR VAR_OUTPUT n : INT; END_VAR\nn0 := n0 + 1; n := n0;",
        *("PERSISTENT", "NON_RETAIN"),
        n=1,
    ),
    taken(
        "initial value",
        "Of any variable, also of structures, arrays and the inputs of a block's instance.",
        "TYPE Pair : STRUCT x, y : INT; END_STRUCT; END_TYPE\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR\n"
        "VAR p : Pair := (x := 1, y := 2); a : ARRAY [0..3] OF INT := [2(3), 4]; END_VAR\n"
        "n := p.x + p.y + a[1] + a[2] + a[3]; END_PROGRAM",
        n=10,
    ),
    taken(
        "AT",
        "Variables at %I are inputs of the root and those at %Q its outputs, whatever section "
        "they stand in. Those at %M are memory; what nothing that is executed writes is an input, "
        "which is told. Variables at one address are one; those that share only some bits are "
        "refused. %MW1 is made of %MB2 and %MB3.",
        "VAR button AT %IX0.0 : BOOL; lamp AT %QX0.0 : BOOL; END_VAR\nlamp := NOT button;",
        *("address", "%IX0.0", "%QX0.0"),
        lamp=1,
    ),
    taken(
        "direct address",
        "%IX1.0 in a statement is an input, %QX1.0 an output, without a declaration; where a "
        "variable is declared at the same address it is that one.",
        "VAR_OUTPUT q : BOOL; END_VAR\n%QX1.0 := TRUE; q := NOT %IX1.0;",
        "%IX1.0",
        q=1,
    ),
    taken(
        "R_EDGE",
        "The input is TRUE in the one call in which it rises; F_EDGE, in which it falls.",
        "FUNCTION_BLOCK Count VAR_INPUT go : BOOL R_EDGE; END_VAR VAR_OUTPUT n : INT; END_VAR\n"
        "IF go THEN n := n + 1; END_IF END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR c : Count; END_VAR\n"
        "c(go := TRUE); c(go := TRUE); n := c.n; END_PROGRAM",
        "F_EDGE",
        n=1,
    ),
    taken(
        "REAL as an input",
        "Its values are told apart as far as program and model compare them. What is computed of "
        "several, or of one and its own past, is taken as any value in each scan, which is told.",
        "VAR_INPUT x : REAL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\nq := x > 3.0;",
        q=0,
    ),
    refused(
        "name declared twice",
        "Names do not tell capitals apart.",
        "VAR_OUTPUT q : BOOL; Q : INT; END_VAR\n;",
        "'Q' is declared twice",
    ),
    taken(
        "name of a type",
        "A variable may be called like a block (ton : TON) and like a type of days or of letters "
        "(dt, date, char); the names of BOOL, TIME and the numbers are refused.",
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT n : INT; END_VAR\n"
        "VAR dt : INT := 3; ton : TON; END_VAR\nton(IN := a, PT := T#1s); n := dt + 1;",
        n=4,
    ),
    refused(
        "name that is not declared",
        "The nearest known name is told.",
        "VAR_OUTPUT lamp : BOOL; END_VAR\nlmap := TRUE;",
        "'lmap' is not declared; did you mean 'lamp'?",
    ),
)
