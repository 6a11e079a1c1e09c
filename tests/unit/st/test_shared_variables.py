"""Variables at addresses, and what another PROGRAM may change between two scans."""

from __future__ import annotations

import pytest

from interlock.base.errors import InputError
from interlock.st.direct.controller import DirectController
from interlock.st.interpret import Controller
from interlock.st.layout import Settings
from interlock.st.load import load_project
from interlock.st.typed import Program

_INPUT = "FUNCTION_BLOCK F VAR x AT %{} : BOOL; END_VAR VAR_OUTPUT o : BOOL; END_VAR o := x; {}"
_SETS = (
    "FUNCTION_BLOCK F VAR_INPUT i : BOOL; END_VAR VAR x AT %MX0.0 : BOOL; END_VAR "
    "VAR_OUTPUT o : BOOL; END_VAR o := x; IF i THEN x := TRUE; END_IF; END_FUNCTION_BLOCK\n"
)
_END = "END_FUNCTION_BLOCK\n"


def _program(text: str) -> Program:
    return load_project({"p.st": text}, "m").program


def _main(variables: str, body: str) -> str:
    return (
        "PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        f"VAR {variables} END_VAR {body} END_PROGRAM"
    )


@pytest.mark.parametrize("address", ["IX0.0", "I*", "I0.0"])
def test_an_input_of_an_instance_at_an_address_is_an_input(address: str) -> None:
    program = _program(_INPUT.format(address, _END) + _main("f : F;", "f(); q := f.o;"))
    assert Controller(program, Settings()).scan({"a": 0, "f.x": 1}).outputs["q"] == 1


@pytest.mark.parametrize(
    "text",
    [
        _SETS + _main("f, g : F;", "f(i := TRUE); g(i := FALSE); q := g.o;"),
        _main("z AT %MX0.0 : BOOL;", "%MX0.0 := TRUE; z := z AND TRUE; q := z;"),
        _main("z AT %MX0.0 : BOOL;", "%M0.0 := TRUE; q := z;"),
        _main("y AT %MX0.0, z AT %mx0.0 : BOOL;", "z := FALSE; y := TRUE; q := z;").replace(
            ", z", " : BOOL; z"
        ),
        "VAR_GLOBAL z AT %MX0.0 : BOOL; END_VAR "
        + _main("", "%MX0.0 := TRUE; z := z AND TRUE; q := z;").replace("VAR  END_VAR", ""),
        "PROGRAM m VAR_INPUT a : BOOL; END_VAR VAR q AT %QX0.0 : BOOL; END_VAR "
        "%QX0.0 := TRUE; END_PROGRAM",
    ],
)
def test_variables_at_one_address_are_one(text: str) -> None:
    assert Controller(_program(text), Settings()).scan({"a": 0}).outputs["q"] == 1


@pytest.mark.parametrize(
    "variables",
    [
        "y AT %MW0 : WORD; z AT %MX0.0 : BOOL;",
        "y AT %MW1 : WORD; z AT %MB3 : BYTE;",
        "y AT %MB0 : BYTE; z AT %MB0 : USINT;",
        "y AT %MW0 : DINT; z AT %MW1 : WORD;",
        "y AT %MW0 : ARRAY [0..3] OF WORD; z AT %MW3 : WORD;",
        "y AT %MW0 : ARRAY [0..3] OF WORD; z AT %MW0 : ARRAY [1..4] OF WORD;",
    ],
)
def test_variables_that_share_bits_are_refused(variables: str) -> None:
    with pytest.raises(InputError, match="shares bits with another variable"):
        _program(_main(variables, "q := FALSE;"))


_BOTH_CALL = (
    "VAR_GLOBAL g : BOOL; END_VAR FUNCTION S : BOOL VAR_INPUT v : BOOL; END_VAR g := v; "
    "END_FUNCTION PROGRAM other {} END_PROGRAM "
)


def test_a_global_that_another_program_sets_by_a_function_of_both_may_have_any_value() -> None:
    body = "q := g; S(FALSE);"
    shared = _program(_BOTH_CALL.format("S(TRUE);") + _main("", body).replace("VAR  END_VAR", ""))
    assert [v.name for v in shared.inputs] == ["a", "g"]
    own = _program(_BOTH_CALL.format(";") + _main("", body).replace("VAR  END_VAR", ""))
    assert [v.name for v in own.inputs] == ["a"]


_ELSEWHERE = [
    ("", "strange();", True),
    ("u : Unknown;", "u();", True),
    ("k : INT;", "k := Strange(1);", True),
    ("r : REFERENCE TO BOOL := g;", "r := TRUE;", True),
    ("w AT %MW0 : WORD;", "w := 1;", True),
    ("", "%MB0 := 1;", True),
    ("w AT %MW1 : WORD;", "w := 1;", False),
    ("k : INT;", "k := MIN(k, 1) + LEN('a');", False),
    ("b : Derived; t : TON;", "b(); t(IN := TRUE); b.Do();", False),
    ("k : INT;", "k := BOOL_TO_INT(g);", False),
    # These write what they are given, whatever they are called like and wherever they are called.
    ("k : BOOL;", "k := Take_TO_Use(g);", True),
    ("k : BOOL;", "k := FIND(g);", True),
    ("k, n : INT;", "FOR k := 0 TO SEL(Take_TO_Use(g), 1, 2) DO n := k; END_FOR;", True),
    ("k : ARRAY [0..1] OF INT;", "k[SEL(Take_TO_Use(g), 0, 1)] := 1;", True),
    ("p : POINTER TO BOOL;", "p := ADR(g); p^ := TRUE;", True),
    ("p : POINTER TO BOOL := ADR(g);", "p^ := TRUE;", True),
    ("p : REF_TO BOOL;", "p := REF(g); p^ := TRUE;", True),
    ("r : REFERENCE TO BOOL;", "r REF= g; r := TRUE;", True),
]


@pytest.mark.parametrize(("variables", "body", "may"), _ELSEWHERE)
def test_what_another_program_may_do_to_a_global_is_reckoned_with(
    variables: str, body: str, may: bool
) -> None:
    blocks = (
        "VAR_GLOBAL g AT %MX0.0 : BOOL; END_VAR FUNCTION_BLOCK Base VAR f : R_TRIG; END_VAR "
        "METHOD Do : BOOL f(CLK := TRUE); END_METHOD END_FUNCTION_BLOCK "
        "FUNCTION_BLOCK Derived EXTENDS Base f(CLK := FALSE); Do(); END_FUNCTION_BLOCK "
        "FUNCTION Take_TO_Use : BOOL VAR_IN_OUT v : BOOL; END_VAR v := TRUE; END_FUNCTION "
        "FUNCTION FIND : BOOL VAR_IN_OUT v : BOOL; END_VAR v := TRUE; END_FUNCTION "
    )
    other = f"PROGRAM other VAR {variables} END_VAR {body} END_PROGRAM ".replace("VAR  END_VAR", "")
    program = _program(blocks + other + _main("x : BOOL;", "q := g; g := FALSE; x := a;"))
    assert [v.name for v in program.inputs] == (["a", "g"] if may else ["a"])


def test_a_global_instance_that_another_program_calls_is_not_known() -> None:
    text = (
        "VAR_GLOBAL f : F; END_VAR FUNCTION_BLOCK F VAR_INPUT v : BOOL; END_VAR "
        "VAR_OUTPUT o : BOOL; END_VAR o := v; END_FUNCTION_BLOCK "
        "PROGRAM other f(v := TRUE); END_PROGRAM "
    ) + _main("x : BOOL;", "q := f.o; f(v := FALSE);")
    with pytest.raises(InputError, match="'f', which other may change, too"):
        _program(text)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (
            _main("y AT %MX0.0 : BOOL; z AT %MX0.0 : BOOL := TRUE;", "q := y;"),
            "'z' is the variable that line 1 declares at %M0.0; say only there",
        ),
        (_main("y, z AT %MX0.0 : BOOL;", "q := y;"), "one name stands at an address"),
        (
            "FUNCTION F : BOOL VAR x AT %IX0.0 : BOOL; END_VAR F := x; END_FUNCTION "
            + _main("b : BOOL;", "q := F();"),
            "a FUNCTION has no variables at addresses",
        ),
        (
            "PROGRAM other VAR z AT %QX0.0 : BOOL; END_VAR z := TRUE; END_PROGRAM "
            + _main("y AT %QX0.0 : BOOL;", "q := y;"),
            "output 'y' is written by another PROGRAM, too",
        ),
    ],
)
def test_what_has_two_meanings_at_an_address_is_refused(text: str, says: str) -> None:
    with pytest.raises(InputError, match=says):
        _program(text)


def test_an_input_of_the_root_at_an_address_is_what_stands_there() -> None:
    text = _main("b : BOOL;", "q := a AND %IX0.0;").replace("a : BOOL", "a AT %IX0.0 : BOOL")
    assert [v.name for v in _program(text).inputs] == ["a"]


def test_each_name_of_a_line_may_have_an_address_of_its_own() -> None:
    text = _main("y AT %IX0.0, z AT %IX0.1 : BOOL;", "q := y AND z;")
    assert [v.name for v in _program(text).inputs] == ["a", "y", "z"]


def test_a_variable_of_a_program_that_nothing_writes_is_set_from_outside() -> None:
    text = _main("a, set : BOOL; n : INT; t : TON; k : BOOL := TRUE;", _BODY)
    loaded = load_project({"p.st": text.replace("VAR_INPUT a : BOOL; END_VAR", "")})
    assert {v.name for v in loaded.program.inputs} == {"a", "set"}
    assert [n.says for n in loaded.notes] == [
        f"'{name}' is an input: nothing that is executed writes it" for name in ("a", "set")
    ]
    assert Controller(loaded.program, Settings()).scan({"a": 1, "set": 1}).outputs["q"] == 1


@pytest.mark.parametrize(
    ("beside", "variables"),
    [
        ("", "VAR_INPUT a : BOOL; END_VAR"),
        ("", "VAR a AT %IX0.0 : BOOL; END_VAR"),
        ("VAR_GLOBAL a : BOOL; END_VAR\n", "VAR_EXTERNAL a : BOOL; END_VAR"),
        ("VAR_GLOBAL a : BOOL; END_VAR\n", ""),
    ],
)
def test_what_is_forgotten_beside_another_way_in_stays_as_it_is(
    beside: str, variables: str
) -> None:
    text = (
        f"{beside}PROGRAM m {variables} VAR set : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR "
        "q := a AND set; END_PROGRAM"
    )
    program = load_project({"p.st": text}).program
    assert [v.name for v in program.inputs] == ["a"]
    assert Controller(program, Settings()).scan({"a": 1}).outputs["q"] == 0


_BODY = "t(IN := set, PT := T#0s); n := n + 1; q := set AND a AND k AND n < 9;"


@pytest.mark.parametrize(
    ("unit", "body"),
    [
        ("PROGRAM m VAR {} END_VAR", "IF q THEN set := TRUE; END_IF; q := set;"),
        ("PROGRAM m VAR {} END_VAR", "F(x := set); q := set;"),
        ("FUNCTION_BLOCK m VAR {} END_VAR", "q := set;"),
        ("PROGRAM m VAR CONSTANT {} END_VAR", "q := set;"),
        ("PROGRAM m VAR {} END_VAR", "q := FALSE;"),
    ],
)
def test_what_is_written_or_never_read_is_not_set_from_outside(unit: str, body: str) -> None:
    function = "FUNCTION F : BOOL VAR_IN_OUT x : BOOL; END_VAR x := TRUE; END_FUNCTION\n"
    end = "END_PROGRAM" if unit.startswith("PROGRAM") else "END_FUNCTION_BLOCK"
    head = unit.format("set : BOOL;")
    text = f"{function}{head} VAR_OUTPUT q : BOOL; END_VAR {body} {end}"
    assert load_project({"p.st": text}, "m").program.inputs == ()


_HIDDEN = (
    "VAR_GLOBAL f AT %IX0.0 : BOOL; k : INT := 4; END_VAR\n"
    "FUNCTION_BLOCK B VAR_OUTPUT o : INT; END_VAR o := k; END_FUNCTION_BLOCK\n"
    "PROGRAM m VAR f : BOOL; k : INT; b : B; END_VAR VAR_OUTPUT q : BOOL; n : INT; END_VAR\n"
    "b(); f := GVL.f; k := MIN(k + GVL.k, 9); q := f; n := b.o + k; END_PROGRAM"
)


def test_a_variable_of_the_root_hides_the_global_of_its_name() -> None:
    loaded = load_project({"GVL.st": _HIDDEN})
    ours = Controller(loaded.program, Settings())
    written = DirectController(loaded.files, "m", Settings())
    (input_,) = loaded.program.inputs
    for value, n in ((1, 8), (0, 12), (1, 13)):
        expected = {"q": value, "n": n}
        assert ours.scan({input_.name: value}).outputs == expected
        assert written.scan({input_.name: value}).outputs == expected


def test_a_hidden_global_may_still_be_written_by_another_program() -> None:
    text = _HIDDEN + "\nPROGRAM other GVL.k := 7; END_PROGRAM"
    program = load_project({"GVL.st": text}, "m").program
    assert {v.name for v in program.inputs} == {"GVL.f", "GVL.k"}


@pytest.mark.parametrize("of", ["Up", "R_TRIG"])
def test_instances_in_an_array_of_globals_are_no_inputs(of: str) -> None:
    text = f"""VAR_GLOBAL g : ARRAY [0..1] OF {of}; END_VAR
FUNCTION_BLOCK Up VAR_INPUT CLK : BOOL; END_VAR VAR_OUTPUT Q : BOOL; END_VAR
Q := CLK; END_FUNCTION_BLOCK
PROGRAM p VAR_INPUT a : BOOL; END_VAR VAR_OUTPUT q : BOOL; END_VAR
g[0](CLK := a); q := g[0].Q; END_PROGRAM"""
    loaded = load_project({"p.st": text})
    assert not [note.says for note in loaded.notes if "is an input" in note.says]
    assert [v.name for v in loaded.program.inputs] == ["a"]
