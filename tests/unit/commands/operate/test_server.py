"""The web side: who is refused, what each browser gets, and that nothing of a model is markup."""

from __future__ import annotations

import re
import socket
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from interlock.commands.operate import server
from interlock.commands.operate.desk import Desk, ServedModel
from interlock.commands.operate.judging import Jobs
from interlock.commands.operate.serve import bind
from interlock.commands.operate.server import COOKIE, make_app
from interlock.model.load import load
from interlock.st.interpret import Controller
from tests.support.hostile import CONTROL, hostile
from tests.support.models import shipped

HOST = "127.0.0.1:8137"
ORIGIN = {"origin": f"http://{HOST}"}
SECRET = "told-by-the-command"


@pytest.fixture
def served() -> Iterator[ServedModel]:
    jobs = Jobs()
    yield ServedModel(shipped("ramp"), jobs)
    jobs.end()


def browser(served: ServedModel) -> TestClient:
    """A browser of its own, before it has asked for anything."""
    return TestClient(make_app(served, [HOST], SECRET), base_url=f"http://{HOST}/{SECRET}/")


class Page:
    """A page that was loaded, with its token."""

    def __init__(self, client: TestClient) -> None:
        self.client = client
        self.text = client.get("/").text
        found = re.search(r'name="bench-token" content="([^"]+)"', self.text)
        assert found is not None
        self.token = found[1]

    def do(self, act: str, headers: dict[str, str] | None = None, **given: Any) -> Any:
        sent = {**ORIGIN, "x-bench-token": self.token, **(headers or {})}
        return self.client.post("/do", json={"act": act, **given}, headers=sent)

    def state(self) -> str:
        """The state of the plant in words."""
        regions: dict[str, str] = self.do("look").json()["regions"]
        return regions["status"] + regions["picture"]


def test_a_page_is_complete_without_anything_from_elsewhere(served: ServedModel) -> None:
    answer = browser(served).get("/")
    assert answer.status_code == 200
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert not re.findall(r"(?:src|href)=[\"'](?:https?:)?//", answer.text)
    assert not re.findall(r"<script(?![^>]* src=)", answer.text)
    assert not re.findall(r"\son\w+=|\sstyle=", answer.text)
    assert answer.headers["x-content-type-options"] == "nosniff"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie


@pytest.mark.parametrize(
    "host", ["evil.example", "127.0.0.1", "127.0.0.1:80", "localhost.evil:8137"]
)
def test_another_name_for_this_machine_is_refused(served: ServedModel, host: str) -> None:
    # DNS rebinding: a page of another name reaches this address, and still says its own name.
    answer = browser(served).get("/", headers={"host": host})
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "http://127.0.0.1:9", f"https://{HOST}"]
)
def test_another_origin_changes_nothing(served: ServedModel, origin: str) -> None:
    page = Page(browser(served))
    before = page.state()
    answer = page.do("move", {"origin": origin}, move="scan")
    assert answer.status_code == 403
    assert page.state() == before


def test_a_request_that_does_not_say_where_it_comes_from_changes_nothing(
    served: ServedModel,
) -> None:
    page = Page(browser(served))
    sent = {"x-bench-token": page.token}
    answer = page.client.post("/do", json={"act": "look"}, headers=sent)
    assert answer.status_code == 403


@pytest.mark.parametrize("path", ["/run.json", "/program.st", "/operate.js"])
def test_another_site_cannot_embed_or_fetch_a_part(served: ServedModel, path: str) -> None:
    page = Page(browser(served))
    answer = page.client.get(path, headers={"sec-fetch-site": "cross-site"})
    assert answer.status_code == 403


ELSEWHERE = {
    "a link": {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"},
    "a link on another port": {"sec-fetch-site": "same-site", "sec-fetch-mode": "navigate"},
    "a form": {"origin": "http://evil.example"},
    "a frame without an origin": {"origin": "null", "sec-fetch-mode": "navigate"},
    "a picture": {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"},
    "a word that nobody knows": {"sec-fetch-site": "of-tomorrow"},
}


@pytest.mark.parametrize("what", ELSEWHERE)
def test_what_comes_from_elsewhere_neither_makes_a_place_nor_takes_one_away(
    what: str, served: ServedModel
) -> None:
    client = browser(served)
    page = Page(client)
    page.do("tick")
    kept = dict(client.cookies)
    # A browser sends no cookie along from another site.
    for _ in range(40):
        answer = TestClient(client.app, base_url=client.base_url).get("/", headers=ELSEWHERE[what])
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers
        assert page.token not in answer.text
        assert client.get("/", headers=ELSEWHERE[what]).status_code == 403
    assert dict(client.cookies) == kept
    assert "step 1 of 1" in Page(client).text


def test_a_link_of_the_page_to_itself_finds_the_place(served: ServedModel) -> None:
    client = browser(served)
    Page(client).do("tick")
    for site in ("none", "same-origin"):
        assert "step 1 of 1" in client.get("/", headers={"sec-fetch-site": site}).text


@pytest.mark.parametrize(
    "path",
    [
        *("/", "/do", "/run.json", "/operate.js", "/%F0/", "//", "/../pyproject.toml"),
        *(f"/{SECRET[:-1]}/", f"/{SECRET}x/", f"/{SECRET.upper()}/", f"/{SECRET}"),
        *(f"/x/{SECRET}/", f"/?{SECRET}"),
    ],
)
def test_without_the_secret_of_this_start_there_is_nothing(path: str, served: ServedModel) -> None:
    client = browser(served)
    page = Page(client)
    page.do("tick")
    for _ in range(40):
        stranger = TestClient(client.app, follow_redirects=False)
        answer = stranger.get(f"http://{HOST}{path}")
        assert answer.status_code == 403
        assert "set-cookie" not in answer.headers
        assert SECRET not in answer.text
        assert "the whole address" in answer.text
    assert "step 1 of 1" in Page(client).text


def test_the_cookie_goes_to_this_bench_alone(served: ServedModel) -> None:
    assert f"path=/{SECRET}/" in browser(served).get("/").headers["set-cookie"].lower()


HALVES = [
    b'{"act": "say", "pattern": "never", "scope": "globally", "given": {"never": "\\ud800"}}',
    b'{"act": "program", "text": "\\udfff"}',
    b'{"act": "open_run", "text": "\\ud83d"}',
    b'{"act": "move", "move": "\\udc00\\ud800"}',
    b'{"act": "\\ud800"}',
    b'{"act": "look", "\\ud800": 1}',
    b'{"act": "look", "more": [{"x": ["\\ud800"]}]}',
    b'{"act": "look", "more": "\xed\xa0\x80"}',
]


@pytest.mark.parametrize("body", HALVES)
def test_half_a_character_is_refused_in_one_line(body: bytes, served: ServedModel) -> None:
    page = Page(browser(served))
    before = page.state()
    sent = {**ORIGIN, "x-bench-token": page.token, "content-type": "application/json"}
    answer = page.client.post("/do", content=body, headers=sent)
    assert answer.status_code == 400
    (told,) = answer.json()["trouble"].splitlines()
    assert told
    assert page.state() == before


def test_a_defect_is_told_and_the_page_goes_on(
    served: ServedModel, monkeypatch: pytest.MonkeyPatch
) -> None:
    def gone(*_: object) -> None:
        raise KeyError("gone")

    page = Page(browser(served))
    with monkeypatch.context() as defect:
        defect.setattr("interlock.commands.operate.server.perform", gone)
        answer = page.do("look")
    assert answer.status_code == 500
    assert answer.json()["trouble"].startswith("internal error, not a verdict: KeyError: 'gone'")
    assert page.do("look").status_code == 200


def test_both_halves_of_a_character_are_one(served: ServedModel) -> None:
    page = Page(browser(served))
    page.do("edit", of="controller.st")
    sent = {**ORIGIN, "x-bench-token": page.token, "content-type": "application/json"}
    body = b'{"act": "program", "text": "\\ud83d\\ude00"}'
    answer = page.client.post("/do", content=body, headers=sent)
    assert answer.status_code == 200
    assert "😀" in answer.json()["regions"]["program"]


@pytest.mark.parametrize("token", ["", "x", "y" * 32])
def test_without_the_token_of_the_page_nothing_is_done(served: ServedModel, token: str) -> None:
    page = Page(browser(served))
    answer = page.do("look", {"x-bench-token": token})
    assert answer.status_code == 403
    assert "load it again" in answer.json()["trouble"]


def test_the_token_of_one_browser_is_of_no_use_to_another(served: ServedModel) -> None:
    one, other = Page(browser(served)), Page(browser(served))
    assert one.do("look", {"x-bench-token": other.token}).status_code == 403


def test_two_browsers_do_not_disturb_each_other(served: ServedModel) -> None:
    one, other = Page(browser(served)), Page(browser(served))
    before = other.state()
    one.do("tick")
    one.do("press", control="panel", position=1)
    assert other.state() == before
    assert "step 3 of 3" in one.state()


def test_two_benches_on_two_ports_do_not_take_each_others_places(served: ServedModel) -> None:
    # Cookies know no ports (RFC 6265, section 8.5), so their names must.
    one = browser(served)
    page = Page(one)
    other_host = "127.0.0.1:8200"
    app = make_app(served, [other_host], SECRET)
    other = TestClient(app, base_url=f"http://{other_host}/{SECRET}/")
    other.cookies = one.cookies
    other.get("/")
    assert page.do("look").status_code == 200


def test_a_page_loaded_again_finds_its_run(served: ServedModel) -> None:
    client = browser(served)
    Page(client).do("tick")
    assert "step 1 of 1" in Page(client).text


@pytest.mark.parametrize(
    ("body", "kind", "status"),
    [
        (b"[]", "application/json", 400),
        (b"{", "application/json", 400),
        (b"[" * 100_000, "application/json", 400),
        (b'{"act": "fly"}', "application/json", 400),
        (b"act=look", "application/x-www-form-urlencoded", 415),
        (b"{}", "text/plain", 415),
        (b'"' + b"x" * 1_300_000 + b'"', "application/json", 413),
    ],
)
def test_what_is_not_understood_is_refused(
    served: ServedModel, body: bytes, kind: str, status: int
) -> None:
    page = Page(browser(served))
    sent = {**ORIGIN, "x-bench-token": page.token, "content-type": kind}
    answer = page.client.post("/do", content=body, headers=sent)
    assert answer.status_code == status
    assert answer.json()["trouble"]


def test_the_picture_of_the_page_can_be_had_and_no_other(served: ServedModel) -> None:
    page = Page(browser(served))
    found = re.search(r'<img src="(picture/[^"]+)"', page.text)
    assert found is not None
    answer = page.client.get(f"/{found[1]}")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("image/svg+xml")
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    for wrong in ("picture/x/0.svg", f"{found[1][:-4]}.9.svg", "picture/x/..%2F..%2Fetc.svg"):
        assert page.client.get(f"/{wrong}").status_code == 404


def test_a_run_and_a_program_are_sent_as_files(served: ServedModel) -> None:
    page = Page(browser(served))
    page.do("tick")
    run = page.client.get("/run.json")
    assert run.json()["moves"] == ["scan"]
    assert run.headers["content-disposition"].startswith("attachment")
    program = page.client.get("/program.st")
    assert program.text == served.bench(served.model).listing.sheets[0].text
    assert browser(served).get("/run.json").status_code == 404


@pytest.mark.parametrize("path", ["/etc/passwd", "/static/x", "/%2E%2E/pyproject.toml", "/do"])
def test_there_is_no_other_address(served: ServedModel, path: str) -> None:
    assert browser(served).get(path).status_code in (404, 405)


def test_the_body_of_an_answer_does_not_wait_until_its_head_is_acknowledged() -> None:
    with bind(0) as listening, socket.create_connection(listening.getsockname()):
        accepted, _ = listening.accept()
        with accepted:
            assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_many_browsers_leave_room_for_the_last_ones(served: ServedModel) -> None:
    client = browser(served)
    first = Page(client)
    for _ in range(40):
        client.cookies.clear()
        client.get("/")
    client.cookies.clear()
    assert Page(client).do("look").status_code == 200
    assert f"{COOKIE}-8137" in client.cookies
    assert first.token not in Page(client).text


HOSTILE = "</title><script>alert(1)</script><img src=x onerror=alert(2)>\"'&{{7*7}}"


def test_the_texts_of_a_hostile_model_are_shown_and_not_run(tmp_path: Path) -> None:
    model = load(hostile(tmp_path, HOSTILE))
    assert Controller(model.program, model.settings).values() == {"q": 0}
    jobs = Jobs()
    page = Page(browser(ServedModel(model, jobs)))
    page.do("tick")
    texts = [page.text]
    for given in (
        {"act": "press", "control": CONTROL, "position": 1},
        {"act": "move", "move": "F strikes"},
        {"act": "move", "move": HOSTILE},
        {"act": "say", "pattern": "never", "scope": "globally", "given": {"never": HOSTILE}},
        {"act": "edit", "of": "controller.st"},
        {"act": "program", "text": HOSTILE},
    ):
        answer = page.do(**given)
        assert answer.status_code == 200
        texts += answer.json()["regions"].values()
    picture = re.search(r'<img src="(picture/[^"]+)"', page.text)
    assert picture is not None
    texts.append(page.client.get(f"/{picture[1]}").text)
    for text in texts:
        assert "<script>alert" not in text
        assert "<img src=x" not in text
        assert "49" not in re.findall(r"&(?:#39|amp);(\d+)", text)
    assert "&lt;script&gt;alert(1)" in texts[0]
    jobs.end()


def test_a_page_that_misses_the_end_of_a_job_is_told_to_look_again(
    served: ServedModel, monkeypatch: pytest.MonkeyPatch
) -> None:
    page = Page(browser(served))
    made = server.regions

    def made_while_the_job_ends(desk: Desk) -> dict[str, str]:
        shown = made(desk)
        deadline = time.monotonic() + 60
        while desk.open_jobs() and time.monotonic() < deadline:
            time.sleep(0.02)
        return shown

    monkeypatch.setattr(server, "regions", made_while_the_job_ends)
    before = page.do("judge").json()
    assert "not judged yet" in before["regions"]["requirements"]
    assert before["jobs"], "the page would never ask for the verdicts"
    after = page.do("look").json()
    assert "not judged yet" not in after["regions"]["requirements"]
    assert not after["jobs"]
