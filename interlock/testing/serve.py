"""A model's program as a controller behind a socket: ``python -m interlock.testing.serve``.

It connects to the port on this machine that it is given and answers lines of JSON as
`interlock.testing.socket_controller` asks them. Written as an example: what is particular to it
is `ProgramController`; put your own controller in its place.
"""

from __future__ import annotations

import json
import socket
import sys
from typing import Any

from interlock.base.errors import InputError
from interlock.model.declined import UNTIMED, load_for
from interlock.testing.controllers import ControllerError, ProgramController


def serve(controller: Any, port: int) -> None:
    """Connect to `port` and answer until the connection ends."""
    with (
        socket.create_connection(("127.0.0.1", port)) as connection,
        connection.makefile("rwb") as stream,
    ):
        for line in stream:
            stream.write(json.dumps(_answer(controller, json.loads(line))).encode() + b"\n")
            stream.flush()


def _answer(controller: Any, request: dict[str, Any]) -> dict[str, Any]:
    try:
        match request["do"]:
            case "reset":
                controller.reset()
                return {}
            case "restart":
                controller.restart()
                return {}
            case "pass_time":
                controller.pass_time(request["ms"])
                return {}
            case "scan":
                return {"outputs": controller.scan(request["inputs"])}
            case other:
                return {"error": f"'{other}' is not known"}
    except ControllerError as error:
        return {"error": str(error)}


def main(arguments: list[str]) -> int:
    """Serve the program of a model: ``MODEL PORT``."""
    if len(arguments) != 2 or not arguments[1].isdigit():
        print("usage: python -m interlock.testing.serve MODEL PORT", file=sys.stderr)
        return 2
    try:
        model = load_for("'serve'", arguments[0], *UNTIMED)
    except InputError as error:
        print(error, file=sys.stderr)
        return 2
    serve(ProgramController(model), int(arguments[1]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
