"""Serving the page on this machine until it is stopped."""

from __future__ import annotations

import os
import secrets
import socket
from collections.abc import Callable

import uvicorn

from interlock.commands.operate.desk import ServedModel
from interlock.commands.operate.judging import Jobs
from interlock.commands.operate.server import make_app
from interlock.model.model import Model

ADDRESS = "127.0.0.1"


class PortTakenError(Exception):
    """The port cannot be had; the text says why."""


def bind(port: int) -> socket.socket:
    """A listening socket on this machine only; port 0 takes any free one.

    Raises
    ------
    PortTakenError
    """
    try:
        listening = socket.create_server((ADDRESS, port))
    except OSError as error:
        # The library's own text goes on with the address.
        reason = os.strerror(error.errno) if error.errno else str(error)
        raise PortTakenError(
            f"port {port} cannot be had: {reason[:1].lower()}{reason[1:]}"
        ) from None
    # Else an answer's body waits 40 ms until its head is acknowledged (Nagle, RFC 896).
    listening.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    return listening


def serve(model: Model, listening: socket.socket, ready: Callable[[str], None]) -> None:
    """Serve `model` until the process is interrupted.

    Parameters
    ----------
    model : Model
    listening : socket
        From `bind`.
    ready : callable
        Called with the address when everything is built.
    """
    port = listening.getsockname()[1]
    jobs = Jobs()
    try:
        served = ServedModel(model, jobs)
        hosts = [f"{name}:{port}" for name in (ADDRESS, "localhost")]
        # Other users of this machine can reach the port, but not what this user was told.
        secret = secrets.token_urlsafe(16)
        app = make_app(served, hosts if port != 80 else [*hosts, ADDRESS, "localhost"], secret)
        config = uvicorn.Config(
            app,
            log_level="critical",
            access_log=False,
            lifespan="off",
            ws="none",
            server_header=False,
            timeout_graceful_shutdown=1,
        )
        ready(f"http://{ADDRESS}:{port}/{secret}/")
        uvicorn.Server(config).run(sockets=[listening])
    finally:
        jobs.end()
        listening.close()
