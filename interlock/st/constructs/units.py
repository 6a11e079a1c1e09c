"""Units, what holds them together, and what stands round them in a file."""

from __future__ import annotations

from interlock.st.constructs.row import left_out, refused, taken

UNITS = (
    taken(
        "PROGRAM",
        "Executed once in each scan: inputs are latched, statements follow in order, outputs are "
        "written at the end.",
        "PROGRAM Lamp VAR_INPUT dark : BOOL; END_VAR VAR_OUTPUT lamp : BOOL; END_VAR\n"
        "lamp := NOT dark; END_PROGRAM",
        "END_PROGRAM",
        lamp=1,
    ),
    taken(
        "text without a unit",
        "Declarations and statements without a head are a PROGRAM named after the file. Variables "
        "alone in a file, beside others, are those of every unit.",
        "VAR_OUTPUT n : INT; END_VAR\nn := 3;",
        told="no PROGRAM line",
        n=3,
    ),
    taken(
        "FUNCTION_BLOCK",
        "Each instance has a memory of its own. One that no other unit uses may be the root, "
        "executed in each scan like a PROGRAM.",
        "FUNCTION_BLOCK Up VAR_OUTPUT n : INT; END_VAR n := n + 1; END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR u : Up; END_VAR\n"
        "u(); u(); n := u.n; END_PROGRAM",
        "END_FUNCTION_BLOCK",
        "instance",
        n=2,
    ),
    taken(
        "FUNCTION",
        "Its variables start anew at each call; the variable with its name is its result, and has "
        "its type's initial value until it is assigned.",
        "FUNCTION Twice : INT VAR_INPUT a : INT; END_VAR Twice := 2 * a; END_FUNCTION\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR n := Twice(3) + Twice(a := 1); END_PROGRAM",
        "END_FUNCTION",
        n=8,
    ),
    taken(
        "function alone",
        "Where there is nothing else a FUNCTION that no other calls is called once in each scan; "
        "its result is an output. One of type VOID has none.",
        "FUNCTION Three : INT Three := 3; END_FUNCTION",
        told="there is no PROGRAM: Three is called once in each scan",
        Three_result=3,
    ),
    taken(
        "program in parts",
        "Programs called _INIT and _CYCLIC are one: the first is executed once before the first "
        "scan, also after a restart. _EXIT is left out.",
        "PROGRAM _INIT n := 5; END_PROGRAM\n"
        "PROGRAM _CYCLIC VAR_OUTPUT n : INT; END_VAR n := n + 1; END_PROGRAM",
        *("_INIT", "_CYCLIC", "_EXIT"),
        n=6,
    ),
    refused(
        "recursion",
        "IEC 61131-3 forbids that a unit calls itself.",
        "FUNCTION f : INT f := f(); END_FUNCTION\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR n := f(); END_PROGRAM",
        "'f' calls itself",
    ),
    refused(
        "several programs",
        "One unit is executed in each scan. Where several could be, the model says which: root.",
        "PROGRAM a ; END_PROGRAM\nPROGRAM b ; END_PROGRAM",
        "there are several programs (a, b); say which one each scan executes, as in 'root: a'",
        "root",
    ),
    taken(
        "missing end of a unit",
        "Some environments export units without their END; the end is taken to be where the next "
        "unit begins.",
        "FUNCTION_BLOCK Up VAR_OUTPUT n : INT; END_VAR n := n + 1;\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR u : Up; END_VAR u(); n := u.n; END_PROGRAM",
        told="END_FUNCTION_BLOCK of Up is missing",
        n=1,
    ),
    taken(
        "CONFIGURATION",
        "Its global variables are taken. Tasks, their intervals and priorities decide nothing: "
        "the root is executed in each scan, and the model says how long that is (scan_ms).",
        "CONFIGURATION c VAR_GLOBAL g : INT := 4; END_VAR RESOURCE r ON cpu\n"
        "TASK t(INTERVAL := T#20ms, PRIORITY := 1); PROGRAM one WITH t : Main;\n"
        "END_RESOURCE END_CONFIGURATION\n"
        "PROGRAM Main VAR_EXTERNAL g : INT; END_VAR VAR_OUTPUT n : INT; END_VAR n := g;\n"
        "END_PROGRAM",
        *("RESOURCE", "TASK", "END_CONFIGURATION", "END_RESOURCE"),
        n=4,
    ),
    left_out(
        "VAR_ACCESS",
        "Paths by which others read say nothing of what the program does; that nobody writes by "
        "one is assumed, and told.",
        "VAR_ACCESS x : y : BOOL READ_ONLY; END_VAR\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR q := TRUE; END_PROGRAM",
        "VAR_ACCESS was read over",
    ),
    left_out(
        "VAR_CONFIG",
        "Where instances lie is the installation's; with what one begins has to stand in the "
        "program itself.",
        "VAR_CONFIG x AT %IX0.0 : BOOL; END_VAR\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR q := TRUE; END_PROGRAM",
        "VAR_CONFIG was read over",
    ),
    taken(
        "NAMESPACE",
        "Names may be written with it or without. USING is read over: every name of the project "
        "is known everywhere.",
        "NAMESPACE Lib.Sums FUNCTION Three : INT Three := 3; END_FUNCTION END_NAMESPACE\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR n := Three() + Lib.Sums.Three(); END_PROGRAM",
        "USING",
        "END_NAMESPACE",
        n=6,
    ),
    left_out(
        "type that is not in the files given",
        "What is read of it is a value of the type that its reader wants, anything in the first "
        "scan, and kept until code that is not in the files may change it; what tells no type is "
        "left out. Add the file that has it.",
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR VAR g : Gauge; END_VAR\n"
        "g(on := a); q := NOT a;",
        "the type Gauge is not in the files given",
        *("library", "RTC", "SEMA"),
    ),
    left_out(
        "list of globals that is not in the files given",
        "L.x, where nothing is called L or nearly so: any value in each scan, of the type that its "
        "reader wants. What is written there is left out. Add the file that has it.",
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\n"
        "q := a AND Limits.low; Limits.seen := a;",
        "'Limits' is not declared: taken for globals of a file not given",
        "GVL",
    ),
    taken(
        "comment",
        "(* … *), // … and /* … */; they nest, unless one is then open at the end of the file.",
        "VAR_OUTPUT n : INT; END_VAR\n(* a (* b *) c *) n := 1; // d",
        n=1,
    ),
    left_out(
        "pragma",
        "Attributes and the like mean nothing to the check.",
        "{attribute 'hide'}\nPROGRAM Main VAR_OUTPUT q : BOOL; END_VAR q := TRUE; END_PROGRAM",
        "the pragma {attribute 'hide'} was read over",
        "attribute",
    ),
    refused(
        "conditional pragma",
        "A pragma that hides statements would hide them from the check, too.",
        "VAR_OUTPUT q : BOOL; END_VAR {IF defined (x)} q := TRUE;",
        "nothing of a program may be hidden from the check",
    ),
    left_out(
        "lines of an export",
        "What an environment writes round a program when it exports it, XML round sections of "
        "text (CDATA) too, and prose before the first unit and behind the last.",
        "@LINE 5\nPROGRAM Main VAR_OUTPUT q : BOOL; END_VAR q := TRUE; END_PROGRAM",
        "lines of an export were read over",
        "export",
    ),
    refused(
        "Instruction List",
        "Another language of IEC 61131-3, and withdrawn since its fourth edition.",
        "VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR\nLD a\nST q",
        "'LD' is Instruction List",
        "IL",
    ),
)
