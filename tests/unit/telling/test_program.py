from pathlib import Path

import pytest

from interlock.telling.program import left_out_of
from tests.support.gate import GATE_ST, GATE_YAML, gate

LAST = "END_VAR\ndrive := pressed;"
TWO = (
    LAST,
    "END_VAR\nVAR t, u : TON; END_VAR\n"
    "t(IN := pressed, PT := T#1s); u(IN := pressed, PT := T#2s);\ndrive := u.Q AND NOT t.Q;",
)
ONE = (LAST, TWO[1].replace("t, u", "t").split(" u(")[0] + "\ndrive := t.Q;")
R4 = GATE_YAML[GATE_YAML.index("  R4:") :]
COUNTED = ("plant:\n", "run: {timers: counted}\nplant:\n")


def told(folder: Path, *changes: tuple[str, str]) -> list[str]:
    return [one.says for one in left_out_of(gate(folder, *changes)) if "timers end" in one.says]


def test_that_a_way_may_need_an_order_of_timers_is_told_of_what_needs_a_way(tmp_path: Path) -> None:
    assert LAST in GATE_ST
    (says,) = told(tmp_path, TWO)
    assert "the way that R4 asks for may need an order that those rule out" in says


@pytest.mark.parametrize(
    "changes", [[ONE], [TWO, (R4, "")], [TWO, COUNTED]], ids=["one", "no way", "counted"]
)
def test_where_no_order_is_in_question_nothing_is_told(
    changes: list[tuple[str, str]], tmp_path: Path
) -> None:
    assert told(tmp_path, *changes) == []
