"""``interlock operate``: one clear line for whatever keeps it from serving, and a clean end."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.exits import EXIT_BAD_INPUT
from tests.support.models import MODELS

RAMP = str(MODELS / "ramp")


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    assert run(["operate", *arguments]) == EXIT_BAD_INPUT
    told = capsys.readouterr()
    assert told.out == ""
    lines = told.err.strip().split("\n")
    return lines[-1]


def test_a_port_in_use_is_one_line_with_the_way_out(capsys: pytest.CaptureFixture[str]) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        said = refused(capsys, RAMP, "--port", port)
    assert said.startswith(f"Error: port {port} cannot be had: address already in use; choose")
    assert "--port 0" in said


def test_a_model_with_a_mistake_is_told_with_its_place(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    (tmp_path / "model.yaml").write_text("title: x\nplaant: {}\n")
    said = refused(capsys, str(tmp_path), "--port", "0")
    assert "did you mean 'plant'" in said or "'plant' is missing" in said
    assert "model.yaml:" in said


@pytest.mark.parametrize("library", ["starlette", "uvicorn"])
def test_without_the_extra_the_line_names_it(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, library: str
) -> None:
    for name in ("interlock.commands.operate.serve", "interlock.commands.operate.server"):
        monkeypatch.delitem(sys.modules, name, raising=False)
    for name in list(sys.modules):
        if name.split(".")[0] == library:
            monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, library, None)
    said = refused(capsys, RAMP, "--port", "0")
    assert said == f"Error: 'operate' needs {library}: pip install 'interlock[operate]'"


def test_it_tells_its_address_answers_and_ends_with_a_line_on_ctrl_c() -> None:
    command = [sys.executable, "-m", "interlock", "operate", RAMP, "--port", "0", "--no-browser"]
    process = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    assert process.stdout is not None
    line = process.stdout.readline()
    assert line.startswith("operate ramp at http://127.0.0.1:")
    address = line.split()[3]
    with urllib.request.urlopen(address, timeout=10) as answer:
        assert b"Loading ramp with latch pin" in answer.read()
    bare, secret = address.rstrip("/").rsplit("/", 1)
    assert len(secret) >= 16
    with pytest.raises(urllib.error.HTTPError, match="403"):
        urllib.request.urlopen(f"{bare}/", timeout=10)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=20)
    assert process.returncode == 0
    assert out == ""
    assert err.strip().split("\n")[-1] == "stopped; nothing was written"
    assert "Traceback" not in err
