"""The bench under other assumptions on what happens between two scans."""

from __future__ import annotations

from pathlib import Path

from interlock.commands.operate.bench import Bench
from interlock.commands.operate.session import Session
from interlock.model.between import EACH_ONCE
from tests.support.gate import gate

LEVER = ("  button: {says: the button}", "  button: {says: the button}\n  lever: {says: a lever}")


def stepping(folder: Path) -> Session:
    session = Session(Bench(gate(folder, LEVER).assuming(EACH_ONCE)))
    session.scan_follows = False
    return session


def moves(session: Session) -> list[str]:
    return [entry.move for entry in session.made]


def test_each_control_may_be_set_once_and_a_scan_comes_before_it_is_set_again(
    tmp_path: Path,
) -> None:
    session = stepping(tmp_path)
    for control, position in (("button", 1), ("lever", 1), ("button", 0)):
        assert session.set_control(control, position) is None
    pressed = ["scan", "button to TRUE", "lever to TRUE", "scan", "button to FALSE"]
    assert moves(session) == pressed
    # The lever has its turn in this interval; both are listed as possible all the same.
    assert {"lever to FALSE", "button to TRUE"} <= session.possible().keys()
    assert session.set_control("lever", 0) is None
    assert moves(session) == [*pressed, "lever to FALSE"]


def test_a_run_that_moves_something_twice_is_refused_with_what_is_missing(tmp_path: Path) -> None:
    session = stepping(tmp_path)
    refused = session.show(["scan", "button to TRUE", "button to FALSE"], None, "")
    assert refused is not None
    assert len(session.entries) == 2
    assert session.show(["scan", "button to TRUE", "scan", "button to FALSE"], None, "") is None
