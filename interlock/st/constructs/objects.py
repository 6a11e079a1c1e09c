"""Actions, methods and what else IEC 61131-3 has for objects; charts."""

from __future__ import annotations

from interlock.st.constructs.row import left_out, taken

_MAIN = "PROGRAM Main VAR_OUTPUT q : BOOL; n : INT; END_VAR "

OBJECTS = (
    taken(
        "ACTION",
        "Statements with a name, on the variables of their unit or instance.",
        _MAIN + "Up; Up(); ACTION Up: n := n + 1; END_ACTION END_PROGRAM",
        "END_ACTION",
        n=2,
    ),
    taken(
        "METHOD",
        "Works on the variables of its instance; its own start anew at each call.",
        "FUNCTION_BLOCK Sum VAR s : INT; END_VAR\n"
        "METHOD Add : INT VAR_INPUT k : INT; END_VAR s := s + k; Add := s; END_METHOD\n"
        "END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR x : Sum; END_VAR\n"
        "n := x.Add(2); n := x.Add(k := 3); END_PROGRAM",
        "END_METHOD",
        n=5,
    ),
    taken(
        "PROPERTY",
        "Reading it calls its GET, assigning it its SET.",
        "FUNCTION_BLOCK Gate VAR v : INT; END_VAR\n"
        "PROPERTY Width : INT GET Width := v; END_GET SET v := 2 * Width; END_SET END_PROPERTY\n"
        "END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR g : Gate; END_VAR\n"
        "g.Width := 3; n := g.Width; END_PROGRAM",
        *("GET", "SET"),
        n=6,
    ),
    taken(
        "EXTENDS",
        "A block has the variables and methods of its base; a method of the same name takes its "
        "place. SUPER^ calls the base's, THIS^ is the instance itself.",
        "FUNCTION_BLOCK Base METHOD One : INT One := 1; END_METHOD END_FUNCTION_BLOCK\n"
        "FUNCTION_BLOCK Own EXTENDS Base\n"
        "METHOD One : INT One := SUPER^.One() + THIS^.Ten(); END_METHOD\n"
        "METHOD Ten : INT Ten := 10; END_METHOD END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR x : Own; END_VAR n := x.One(); END_PROGRAM",
        *("SUPER", "THIS", "OVERRIDE", "ABSTRACT", "FINAL"),
        n=11,
    ),
    taken(
        "CLASS",
        "A block without a body. PUBLIC, PRIVATE and the like are not checked.",
        "CLASS Cup VAR v : INT; END_VAR METHOD PUBLIC Up v := v + 1; END_METHOD\n"
        "METHOD PUBLIC Seen : INT Seen := v; END_METHOD END_CLASS\n"
        "PROGRAM Main VAR_OUTPUT n : INT; END_VAR VAR x : Cup; END_VAR\n"
        "x.Up(); n := x.Seen(); END_PROGRAM",
        *("PUBLIC", "PRIVATE", "PROTECTED", "INTERNAL", "END_CLASS"),
        n=1,
    ),
    taken(
        "INTERFACE",
        "Read; that a block has what its interfaces ask for is not checked.",
        "INTERFACE Lit METHOD On : BOOL END_METHOD END_INTERFACE\n"
        "FUNCTION_BLOCK Lamp IMPLEMENTS Lit METHOD On : BOOL On := TRUE; END_METHOD\n"
        "END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR VAR x : Lamp; END_VAR q := x.On(); END_PROGRAM",
        *("IMPLEMENTS", "END_INTERFACE"),
        q=1,
    ),
    taken(
        "variable of an interface",
        "Stands for its instance where the text gives it only one. Calls by it before it has one "
        "do nothing, and that this can happen is a violation of ARITHMETIC.",
        "INTERFACE Lit METHOD On : BOOL END_METHOD END_INTERFACE\n"
        "FUNCTION_BLOCK Lamp IMPLEMENTS Lit METHOD On : BOOL On := TRUE; END_METHOD\n"
        "END_FUNCTION_BLOCK\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR VAR x : Lamp; i : Lit; END_VAR\n"
        "i := x; IF i <> 0 THEN q := i.On(); END_IF; END_PROGRAM",
        q=1,
    ),
    left_out(
        "interface with several instances",
        "Which instance stands in its variable is not known from the text, like what a pointer "
        "leads to.",
        "INTERFACE Lit METHOD On : BOOL END_METHOD END_INTERFACE\n"
        "PROGRAM Main VAR_OUTPUT q : BOOL; END_VAR VAR i : Lit; b : BOOL; END_VAR\n"
        "b := i.On(); q := TRUE; END_PROGRAM",
        "left out: it depends on the interface Lit",
    ),
)

_CHART = (
    "INITIAL_STEP Rest: Count(N); END_STEP STEP Lift: END_STEP\n"
    "TRANSITION FROM Rest TO Lift := {}; END_TRANSITION\n"
    "ACTION Count: n := n + 1; END_ACTION END_PROGRAM"
)

CHARTS = (
    taken(
        "chart",
        "A sequential function chart in text: in each scan first the actions of the active steps, "
        "then the transitions, all on the steps that were active. Where several lead out of one "
        "step the first by priority, then by order, is taken.",
        _MAIN + _CHART.format("n > 0"),
        *("STEP", "INITIAL_STEP", "TRANSITION", "SFC", "END_STEP", "END_TRANSITION"),
        n=1,
    ),
    taken(
        "simultaneous steps",
        "FROM (a, b) waits for all of them, TO (a, b) starts them all.",
        _MAIN + "INITIAL_STEP a: END_STEP STEP b: END_STEP STEP c: END_STEP\n"
        "TRANSITION FROM a TO (b, c) := TRUE; END_TRANSITION\n"
        "TRANSITION FROM (b, c) TO a := n > 0; END_TRANSITION END_PROGRAM",
    ),
    taken(
        "qualifiers of actions",
        "N S R P P0 P1 L D SD DS SL, as the standard's action control; an action is executed "
        "once more after it was active.",
        _MAIN + "INITIAL_STEP a: Count(P1); END_STEP\n"
        "ACTION Count: n := n + 1; END_ACTION END_PROGRAM",
        "qualifier",
    ),
    taken(
        "step flag",
        "s.X is TRUE while the step s is active.",
        _MAIN + "INITIAL_STEP a: Look; END_STEP STEP b: END_STEP\n"
        "TRANSITION FROM a TO b := a.X; END_TRANSITION\n"
        "ACTION Look: q := a.X; END_ACTION END_PROGRAM",
        "X",
        q=1,
    ),
    taken(
        "step time",
        "How long a step has been active, s.T, compared with a constant time: as a timer of the "
        "step says it. Anything else that reads it is left out.",
        _MAIN + _CHART.format("Rest.T >= T#0s AND Rest.T <= T#1h"),
        n=1,
    ),
)
