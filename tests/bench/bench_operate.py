"""How long the bench page takes to answer a press, on the demo vehicle.

Run it with ``python -m tests.bench.bench_operate``. It prints times of one run on one machine and
judges none of them; a press should be answered within 50 ms.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from statistics import median
from time import perf_counter

import httpx

from interlock.commands.operate.bench import Bench
from interlock.commands.operate.session import Session
from tests.support.models import shipped
from tests.support.served import served

N_ROUNDS = 40


def _line(what: str, spent: Sequence[float]) -> None:
    ms = sorted(second * 1000 for second in spent)
    late = ms[int(len(ms) * 0.95)]
    print(f"{what:<46} {median(ms):7.1f} {late:7.1f} {ms[-1]:7.1f}  {len(ms):5}", flush=True)


def _seconds(work: Callable[[], object]) -> float:
    started = perf_counter()
    work()
    return perf_counter() - started


def _asked(client: httpx.Client, **given: object) -> float:
    headers = {"x-bench-token": client.headers["x-bench-token"]}
    started = perf_counter()
    answer = client.post("do", json=given, headers=headers)
    spent = perf_counter() - started
    assert answer.status_code == 200, answer.text
    return spent


def main() -> None:
    """Print the times."""
    model = shipped("wren")
    print(f"{'milliseconds on Wren':<46} {'median':>7} {'95 %':>7} {'worst':>7}  {'times':>5}")
    _line("making the bench ready", [_seconds(lambda: Bench(model))])
    session = Session(Bench(model))
    _line(
        "a scan, interpreted and compared",
        [_seconds(lambda: session.act("scan")) for _ in range(40)],
    )
    with served(model) as address:
        origin = address.rsplit("/", 2)[0]
        with httpx.Client(base_url=address, headers={"origin": origin}, timeout=60) as client:
            loaded = [_seconds(lambda: client.get("")) for _ in range(10)]
            page = client.get("").text
            token = re.search(r'name="bench-token" content="([^"]+)"', page)
            picture = re.search(r'<img src="(picture/[^"]+)"', page)
            assert token is not None
            assert picture is not None
            client.headers["x-bench-token"] = token[1]
            _line("loading the page", loaded)
            _line("a picture", [_seconds(lambda: client.get(picture[1])) for _ in range(10)])
            for move in ("scan", "lead: STOWED to LOOSE", "lead: LOOSE to PLUGGED"):
                _asked(client, act="move", move=move)
            _measure_presses(client)


def _measure_presses(client: httpx.Client) -> None:
    presses, reasons, releases, refused, back = [], [], [], [], []
    for _ in range(N_ROUNDS):
        presses.append(_asked(client, act="press", control="pendant", position=1))
        reasons.append(_asked(client, act="why"))
        releases.append(_asked(client, act="release", control="pendant", position=1))
        refused.append(_asked(client, act="move", move="motion: STAND to CREEP"))
        back.append(_asked(client, act="go", to=5))
        _asked(client, act="mode", to="auto")
    _line("a press", presses)
    _line("why it moves nothing, asked behind it", reasons)
    _line("letting go", releases)
    _line("a refused move, explained", refused)
    _line("stepping back", back)


if __name__ == "__main__":
    main()
