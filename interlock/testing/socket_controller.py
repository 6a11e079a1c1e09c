"""A controller that is a process of its own, spoken to over a socket on this machine.

`SocketController` waits on a port of the loopback interface, starts the given command with the
port's number in place of ``{port}`` and speaks lines of JSON with the process that connects:

========================================  ================================
request                                   answer
========================================  ================================
``{"do": "reset"}``                       ``{}``
``{"do": "restart"}``                     ``{}``
``{"do": "scan", "inputs": {…}}``         ``{"outputs": {…}}``
``{"do": "pass_time", "ms": 500}``        ``{}``
========================================  ================================

A restart is asked for only where a model has faults that restart a program with RETAIN values.
An answer ``{"error": "…"}`` tells why there is none. `interlock.testing.serve` is such a process:
it runs the program of a model. Another one may be a bridge to a simulated or a real controller.
"""

from __future__ import annotations

import json
import socket
import subprocess
import tempfile
from collections.abc import Mapping, Sequence
from types import TracebackType
from typing import Any

from interlock.testing.controllers import ControllerError, Value

_LOOPBACK = "127.0.0.1"
_MOST_BYTES = 1_000_000


class SocketController:
    """Starts a controller's process and drives it.

    Parameters
    ----------
    command : sequence of str
        Program and arguments; ``{port}`` in one of them becomes the port's number.
    timeout_s : float
        For so long, in seconds, an answer is waited for, and the connection at the start.

    Use it as a context, or call `close` at the end, so that no process stays behind.
    """

    def __init__(self, command: Sequence[str], timeout_s: float = 5.0) -> None:
        self.command, self.timeout_s = list(command), timeout_s
        self._process: subprocess.Popen[bytes] | None = None
        self._socket: socket.socket | None = None
        self._stream: Any = None
        self._said: Any = None

    def __enter__(self) -> SocketController:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def reset(self) -> None:
        """Switch on for the first time; a process that does not live any more is started again.

        Raises
        ------
        ControllerError
            Where it does not start, connect or answer.
        """
        if self._process is None or self._process.poll() is not None or self._stream is None:
            self.close()
            self._start()
        self._ask({"do": "reset"})

    def restart(self) -> None:
        """Switch off and on, keeping what is retained.

        Raises
        ------
        ControllerError
            As `scan`.
        """
        self._ask({"do": "restart"})

    def scan(self, inputs: Mapping[str, Value]) -> Mapping[str, Value]:
        """One scan.

        Raises
        ------
        ControllerError
            Where the process ended, does not answer in time or answers nonsense.
        """
        answer = self._ask({"do": "scan", "inputs": dict(inputs)})
        outputs = answer.get("outputs")
        if not isinstance(outputs, dict):
            raise ControllerError('the answer to a scan has no {"outputs": {…}}')
        return outputs

    def pass_time(self, ms: int) -> None:
        """Tell that so many milliseconds have passed.

        Raises
        ------
        ControllerError
            As `scan`.
        """
        self._ask({"do": "pass_time", "ms": ms})

    def close(self) -> None:
        """End the connection and the process that was started here."""
        for stream in (self._stream, self._socket):
            if stream is not None:
                stream.close()
        self._stream = self._socket = None
        if self._process is not None:
            if self._process.poll() is None:
                self._process.kill()
            self._process.wait()
            self._process = None
        if self._said is not None:
            self._said.close()
            self._said = None

    def _start(self) -> None:
        # What it prints goes to a file: a pipe that nobody reads would stop it when it is full.
        self._said = tempfile.TemporaryFile()  # noqa: SIM115 - it lives as long as the process
        with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as listening:
            listening.bind((_LOOPBACK, 0))
            listening.listen(1)
            listening.settimeout(min(self.timeout_s, 0.1))
            port = str(listening.getsockname()[1])
            command = [part.replace("{port}", port) for part in self.command]
            try:
                self._process = subprocess.Popen(
                    command, stdin=subprocess.DEVNULL, stdout=self._said, stderr=self._said
                )
            except OSError as error:
                said = f"the controller's process cannot be started: {error.strerror}: {command[0]}"
                raise ControllerError(said) from None
            self._socket = self._accepted(listening)
        self._socket.settimeout(self.timeout_s)
        self._stream = self._socket.makefile("rwb")

    def _accepted(self, listening: socket.socket) -> socket.socket:
        assert self._process is not None
        waits = max(1, round(self.timeout_s / (listening.gettimeout() or self.timeout_s)))
        for _ in range(waits):
            try:
                connection, _ = listening.accept()
            except TimeoutError:
                if self._process.poll() is not None:
                    raise ControllerError(self._ended()) from None
                continue
            return connection
        self.close()
        raise ControllerError(
            f"the controller's process did not connect within {self.timeout_s:g} s"
        )

    def _ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        what = request["do"]
        if self._stream is None:
            raise ControllerError(f"no connection to ask for '{what}'; call reset() first")
        try:
            self._stream.write(json.dumps(request).encode() + b"\n")
            self._stream.flush()
            line = self._stream.readline(_MOST_BYTES + 1)
        except TimeoutError:
            self.close()
            said = f"the controller did not answer '{what}' within {self.timeout_s:g} s"
            raise ControllerError(said) from None
        except OSError:
            line = b""
        if not line:
            raise ControllerError(self._ended())
        return self._read(line, what)

    def _read(self, line: bytes, what: str) -> dict[str, Any]:
        shown = line[:60].decode("utf-8", errors="replace").strip()
        if len(line) > _MOST_BYTES:
            self.close()
            raise ControllerError(f"the answer to '{what}' is longer than {_MOST_BYTES:,} bytes")
        try:
            answer = json.loads(line)
        except ValueError:
            raise ControllerError(f"the answer to '{what}' is no JSON: {shown!r}") from None
        if not isinstance(answer, dict):
            raise ControllerError(f"the answer to '{what}' is no JSON object: {shown!r}")
        if "error" in answer:
            raise ControllerError(f"the controller refused '{what}': {answer['error']}")
        return answer

    def _ended(self) -> str:
        """What is known of a process that ended, with the last line that it printed."""
        assert self._process is not None
        try:
            code: int | None = self._process.wait(timeout=1)
        except subprocess.TimeoutExpired:
            code = None
        self._said.seek(0)
        printed = self._said.read().decode("utf-8", errors="replace").split("\n")
        last = next((line.strip() for line in reversed(printed) if line.strip()), "")
        self.close()
        said = "the controller's process closed the connection"
        if code is not None:
            said = f"the controller's process ended with exit code {code}"
        return f"{said}: {last}" if last else said
