"""The bench page served for a test, on a port of its own."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager

import uvicorn

from interlock.commands.operate.desk import ServedModel
from interlock.commands.operate.judging import Jobs
from interlock.commands.operate.serve import ADDRESS, bind
from interlock.commands.operate.server import make_app
from interlock.model.model import Model


@contextmanager
def served(model: Model) -> Iterator[str]:
    """Serve `model` in a thread and give its address; everything is ended afterwards."""
    jobs = Jobs()
    listening = bind(0)
    port = listening.getsockname()[1]
    secret = "a-word-of-this-test"
    hosts = [f"{ADDRESS}:{port}", f"localhost:{port}"]
    app = make_app(ServedModel(model, jobs), hosts, secret)
    config = uvicorn.Config(app, log_level="critical", lifespan="off", ws="none")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    deadline = time.monotonic() + 10
    while not server.started and time.monotonic() < deadline:
        time.sleep(0.01)
    try:
        yield f"http://{ADDRESS}:{port}/{secret}/"
    finally:
        jobs.end()
        server.should_exit = True
        thread.join(10)
        listening.close()
