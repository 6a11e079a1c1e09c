"""Random syntax trees of whole files, as they can be written."""

from __future__ import annotations

from dataclasses import replace

from hypothesis import strategies as st

from interlock.base.errors import Place
from interlock.st import syntax as sx

_HERE = Place("random.st", 1, 1)
_NAMES = st.sampled_from(["a", "b2", "_c", "d__e", "step", "Class", "set", "to"])
_TYPES = st.sampled_from(["BOOL", "INT", "REAL", "TIME", "Mode", "lib.Mode", "TON"])


def _many(of: st.SearchStrategy[object], least: int = 0, most: int = 2) -> st.SearchStrategy[tuple]:
    return st.lists(of, min_size=least, max_size=most).map(tuple)


names = _NAMES.map(lambda text: sx.Name(text, _HERE))
_members = st.builds(lambda a, b: sx.Name(f"{a}.{b}", _HERE), _NAMES, _NAMES | st.just("3"))
_literals = st.one_of(
    st.builds(sx.Number, st.integers(0, 99), st.just(_HERE)),
    st.builds(sx.Number, st.integers(-9, 99), st.just(_HERE), st.sampled_from(["INT", "WORD"])),
    st.builds(sx.Real, st.sampled_from(["1.5", "2.0E-3", "1E6"]), st.just(_HERE)),
    st.builds(sx.Real, st.sampled_from(["-1.5", "5"]), st.just(_HERE), st.just("LREAL")),
    st.builds(sx.Truth, st.booleans(), st.just(_HERE)),
    st.builds(
        sx.Duration, st.integers(-5000, 5000), st.just(_HERE), st.sampled_from(["", "LTIME"])
    ),
    st.builds(sx.Qualified, st.sampled_from(["Mode", "lib.Mode"]), _NAMES, st.just(_HERE)),
    st.sampled_from(
        [
            sx.Opaque("'it$'s'", "STRING", _HERE),
            sx.Opaque('"wide"', "WSTRING", _HERE),
            sx.Opaque("DT#2024-02-29-12:00:00", "DT", _HERE),
            sx.Opaque("TOD#06:30:00.5", "TOD", _HERE),
            sx.Opaque("d#2024-02-29", "DATE", _HERE),
        ]
    ),
)


def _wider(inner: st.SearchStrategy[sx.Expression]) -> st.SearchStrategy[sx.Expression]:
    operators = st.sampled_from(
        [*("XOR", "=", "<>", "<", ">", "<=", ">="), *("+", "-", "*", "/", "MOD", "**")]
    )
    elements = _elements(inner)
    return st.one_of(
        st.builds(sx.Unary, st.sampled_from(["NOT", "-", "+"]), inner, st.just(_HERE)),
        st.builds(sx.Binary, operators, inner, inner, st.just(_HERE)),
        st.builds(sx.Junction, st.sampled_from(["AND", "OR"]), _many(inner, 2, 3), st.just(_HERE)),
        st.builds(
            sx.Call,
            st.sampled_from(["MAX", "AND", "x_TO_y", "fb.Do"]),
            _many(inner),
            st.just(_HERE),
            _many(_inputs(inner)),
            _many(_outputs()),
        ),
        st.builds(sx.Call, _NAMES, _many(inner), st.just(_HERE), on=elements),
        elements,
    )


def _inputs(values: st.SearchStrategy[sx.Expression]) -> st.SearchStrategy[sx.InputArgument]:
    return st.builds(sx.InputArgument, _NAMES, values, st.just(_HERE))


def _outputs() -> st.SearchStrategy[sx.OutputArgument]:
    return st.builds(sx.OutputArgument, _NAMES, names | _members, st.just(_HERE), st.booleans())


def _elements(indexes: st.SearchStrategy[sx.Expression]) -> st.SearchStrategy[sx.Target]:
    element = st.builds(sx.Element, names | _members, _many(indexes, 1), st.just(_HERE))
    pointed = st.builds(sx.Pointed, names | element, st.just(_HERE))
    member = st.builds(sx.Member, element | pointed, _NAMES | st.just("7"), st.just(_HERE))
    return element | pointed | member


expressions = st.recursive(
    _literals
    | names
    | _members
    | st.builds(sx.Direct, st.sampled_from(["%IX0.0", "%QW3", "%MD7"]), st.just(_HERE)),
    _wider,
    max_leaves=6,
)
_numbers = st.builds(sx.Number, st.integers(0, 9), st.just(_HERE))
_targets = names | _members | _elements(expressions)
_array_values = st.builds(
    sx.ArrayValue,
    _many(
        st.tuples(st.integers(2, 4), st.none() | _numbers) | st.tuples(st.just(1), expressions), 1
    ),
    st.just(_HERE),
)
_struct_values = st.builds(
    sx.StructValue, _many(_inputs(expressions | _array_values), 1), st.just(_HERE)
)
initials = st.none() | expressions | _array_values | _struct_values

# Statements

_simple = st.one_of(
    st.builds(sx.Assign, _targets, expressions, st.just(_HERE)),
    st.builds(sx.Leave, st.sampled_from(["EXIT", "CONTINUE", "RETURN"]), st.just(_HERE)),
    st.builds(sx.Empty, st.just(_HERE)),
    st.builds(
        sx.Invoke,
        names | _members,
        _many(_inputs(expressions | _struct_values)),
        _many(_outputs()),
        st.just(_HERE),
    ),
    st.builds(
        sx.Invoke,
        names,
        st.just(()),
        st.just(()),
        st.just(_HERE),
        st.none() | _elements(_numbers),
        st.booleans(),
    ),
)
_case_labels = st.one_of(
    _numbers,
    names,
    st.builds(sx.Unary, st.just("-"), _numbers, st.just(_HERE)),
    st.builds(sx.Qualified, st.just("Mode"), _NAMES, st.just(_HERE)),
)


def _compound(inner: st.SearchStrategy[sx.Statement]) -> st.SearchStrategy[sx.Statement]:
    body, here = _many(inner), st.just(_HERE)
    branches = _many(st.builds(sx.Branch, expressions, body, here), 1)
    labels = _many(st.builds(sx.Label, _case_labels, st.none() | _case_labels, here), 1)
    cases = _many(st.builds(sx.CaseBranch, labels, body, here), 1)
    return st.one_of(
        st.builds(sx.If, branches, body, here),
        st.builds(sx.Case, expressions, cases, body, here),
        st.builds(sx.For, names, expressions, expressions, st.none() | expressions, body, here),
        st.builds(sx.While, expressions, body, here),
        st.builds(sx.Repeat, body, expressions, here),
    )


bodies = _many(st.recursive(_simple, _compound, max_leaves=4), 0, 3)

# Declarations and units

_plain = st.builds(sx.TypeRef, _TYPES, st.none(), st.none(), st.just(_HERE))
_types = st.recursive(
    st.one_of(
        _plain,
        st.builds(sx.TypeRef, st.just("INT"), _numbers, _numbers, st.just(_HERE)),
        st.builds(sx.TypeRef, st.just("STRING"), st.none() | _numbers, st.none(), st.just(_HERE)),
        st.builds(
            sx.TypeRef,
            st.just(""),
            st.none(),
            st.none(),
            st.just(_HERE),
            labels=_many(st.builds(sx.EnumLabel, _NAMES, st.none() | _numbers, st.just(_HERE)), 1),
            base=st.sampled_from(["", "UINT"]),
        ),
    ),
    lambda inner: st.one_of(
        st.builds(
            sx.TypeRef,
            st.just("ARRAY"),
            st.none(),
            st.none(),
            st.just(_HERE),
            dimensions=_many(st.none() | st.tuples(_numbers, _numbers), 1),
            of=inner,
        ),
        st.builds(
            sx.TypeRef,
            st.sampled_from(["POINTER", "REFERENCE"]),
            st.none(),
            st.none(),
            st.just(_HERE),
            of=_plain,
        ),
        st.builds(
            sx.TypeRef,
            st.sampled_from(["", "UNION"]),
            st.none(),
            st.none(),
            st.just(_HERE),
            fields=_many(
                st.builds(
                    sx.Declaration,
                    st.just("STRUCT"),
                    st.just(False),
                    _many(names, 1),
                    inner,
                    initials,
                    st.just(_HERE),
                ),
                1,
            ),
        ),
    ),
    max_leaves=3,
)


def _declarations(*kinds: str) -> st.SearchStrategy[tuple]:
    return _many(
        st.builds(
            sx.Declaration,
            st.sampled_from(kinds),
            st.booleans(),
            _many(names, 1),
            _types,
            initials,
            st.just(_HERE),
            constant=st.booleans(),
            address=st.sampled_from(["", "", "%IX1.0", "%Q*"]),
        ).map(_with_one_name_at_an_address),
    )


def _with_one_name_at_an_address(declaration: sx.Declaration) -> sx.Declaration:
    return replace(declaration, names=declaration.names[: 1 if declaration.address else None])


_sections = _declarations(
    *("VAR_INPUT", "VAR_OUTPUT", "VAR_IN_OUT", "VAR", "VAR_TEMP", "VAR_STAT", "VAR_INST"),
    "VAR_EXTERNAL",
)
_actions = _many(st.builds(sx.Action, _NAMES, bodies, st.just(_HERE)))
_methods = _many(
    st.builds(
        sx.Unit,
        st.sampled_from(["METHOD", "GET", "SET"]),
        _NAMES,
        _sections,
        bodies,
        st.just(_HERE),
        returns=_plain,
        words=st.sampled_from([(), ("PRIVATE",), ("PUBLIC", "ABSTRACT")]),
    )
)
_charts = st.builds(
    sx.Chart,
    _many(
        st.builds(
            sx.Step,
            _NAMES,
            st.booleans(),
            _many(
                st.builds(
                    sx.ActionUse,
                    _NAMES,
                    st.sampled_from(["N", "P1", "L"]),
                    st.none() | expressions,
                    st.just(_HERE),
                )
            ),
            st.just(_HERE),
        ),
        1,
    ),
    _many(
        st.builds(
            sx.Transition,
            st.sampled_from(["", "begin"]),
            _many(names, 1),
            _many(names, 1),
            expressions,
            st.none() | st.integers(0, 9),
            st.just(_HERE),
        )
    ),
    st.just(_HERE),
)
_namespaces = st.sampled_from(["", "lib", "lib.inner"])
_blocks = st.builds(
    sx.Unit,
    st.sampled_from(["PROGRAM", "FUNCTION_BLOCK", "CLASS"]),
    _NAMES,
    _sections,
    bodies,
    st.just(_HERE),
    actions=_actions,
    methods=_methods,
    extends=st.sampled_from(["", "lib.Base"]),
    implements=st.sampled_from([(), ("IMove", "lib.IStop")]),
    words=st.sampled_from([(), ("FINAL",)]),
    namespace=_namespaces,
)
_functions = st.builds(
    sx.Unit,
    st.just("FUNCTION"),
    _NAMES,
    _sections,
    bodies,
    st.just(_HERE),
    returns=_plain,
    namespace=_namespaces,
)
_charted = st.builds(
    sx.Unit,
    st.just("PROGRAM"),
    _NAMES,
    _sections,
    st.just(()),
    st.just(_HERE),
    actions=_actions,
    chart=_charts,
)
source_files = st.builds(
    sx.SourceFile,
    st.just("random"),
    _many(
        st.builds(
            sx.TypeDef,
            _NAMES,
            _types,
            initials,
            st.just(_HERE),
            st.sampled_from(["", "Base"]),
            _namespaces,
        )
    ),
    _many(_blocks | _functions | _charted),
    _declarations("VAR_GLOBAL"),
    _many(st.builds(sx.Task, _NAMES, st.none() | st.integers(1, 90), st.just(_HERE))),
    _many(
        st.builds(
            sx.ProgramInstance,
            _NAMES,
            st.sampled_from(["", "Fast"]),
            st.sampled_from(["Main", "lib.Main"]),
            st.just(_HERE),
        )
    ),
)
