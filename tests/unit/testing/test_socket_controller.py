"""A controller in a process of its own: it serves, dies, hangs and answers nonsense."""

from __future__ import annotations

import sys
import time
from pathlib import Path

import pytest

from interlock.testing.controllers import ControllerError
from interlock.testing.machine import machine_for
from interlock.testing.socket_controller import SocketController
from tests.support.models import MODELS, shipped

CONNECTED = """
import json, socket, sys, time
stream = socket.create_connection(("127.0.0.1", int(sys.argv[1]))).makefile("rwb")
def answer(text):
    stream.readline(); stream.write(text.encode() + b"\\n"); stream.flush()
"""


def of(code: str, timeout_s: float = 5.0) -> SocketController:
    """A controller whose process connects and then runs `code`."""
    return SocketController([sys.executable, "-c", CONNECTED + code, "{port}"], timeout_s)


def test_the_program_of_a_model_behind_a_socket_drives_the_plant() -> None:
    command = [sys.executable, "-m", "interlock.testing.serve", str(MODELS / "ramp"), "{port}"]
    with SocketController(command, timeout_s=30) as controller:
        machine = machine_for(shipped("ramp"), controller, seeds=())
        for move in ("panel to START", "panel to LOWER", "pin: in to out"):
            machine.plant.make(move)
        machine.plant.end()
        assert machine.plant.can("ramp: stowed to between")


def test_a_restart_is_asked_for_by_a_name_of_its_own() -> None:
    code = """
answer('{}')
asked = json.loads(stream.readline())
stream.write(b'{}' + bytes([10]) if asked == {'do': 'restart'} else b'no' + bytes([10]))
stream.flush()
"""
    with of(code) as controller:
        controller.reset()
        controller.restart()


def test_a_process_that_dies_is_told_with_its_exit_code_and_last_words() -> None:
    with of("answer('{}'); stream.readline(); sys.exit('the card is loose')") as controller:
        controller.reset()
        with pytest.raises(ControllerError, match="ended with exit code 1: the card is loose"):
            controller.scan({})


def test_a_process_that_died_is_started_again_by_a_reset() -> None:
    with of("answer('{}'); stream.readline(); sys.exit(3)") as controller:
        for _ in range(2):
            controller.reset()
            with pytest.raises(ControllerError, match="exit code 3"):
                controller.scan({})


def test_a_process_that_hangs_is_not_waited_for_long_and_is_ended() -> None:
    with of("answer('{}'); time.sleep(600)", timeout_s=1.5) as controller:
        controller.reset()
        process = controller._process
        assert process is not None
        started = time.monotonic()
        with pytest.raises(ControllerError, match=r"did not answer 'scan' within 1\.5 s"):
            controller.scan({})
        assert time.monotonic() - started < 30
        assert process.poll() is not None


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        ("pump on", "is no JSON: 'pump on'"),
        ("[1, 2]", "is no JSON object"),
        ("{}", "has no"),
        ('{"error": "no such input"}', "refused 'scan': no such input"),
    ],
)
def test_nonsense_is_told_in_one_sentence(answer: str, said: str) -> None:
    with of(f"answer('{{}}'); answer({answer!r}); time.sleep(600)") as controller:
        controller.reset()
        with pytest.raises(ControllerError) as caught:
            controller.scan({})
        assert said in str(caught.value)


def test_a_command_that_is_not_there_is_told(tmp_path: Path) -> None:
    with (
        SocketController([str(tmp_path / "nothing"), "{port}"]) as controller,
        pytest.raises(ControllerError, match="cannot be started: No such file"),
    ):
        controller.reset()


def test_a_process_that_never_connects_is_told_why() -> None:
    command = [sys.executable, "-c", "print('wrong bus'); raise SystemExit(7)"]
    with (
        SocketController(command) as controller,
        pytest.raises(ControllerError, match="exit code 7: wrong bus"),
    ):
        controller.reset()
