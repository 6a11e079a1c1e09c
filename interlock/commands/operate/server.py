"""The page's web side: who may ask, what each browser's place is, and what goes out.

Only this machine can reach it, and on it only who knows the secret in the address, which each
start makes anew. A request must name this server as its host, which a page whose name was re-bound
to this address does not. What another page leads to or asks for is refused, links included: such a
request carries no cookie, so it would take the place of a run. What changes anything must carry the
token that only the page knows. Each browser has a place of its own.
"""

from __future__ import annotations

import json
import secrets
import threading
from collections import OrderedDict
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.responses import JSONResponse, PlainTextResponse, Response
from starlette.routing import Mount, Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from interlock.base.errors import defect_in_words
from interlock.commands.operate.acts import BadRequestError, perform
from interlock.commands.operate.desk import Desk, ServedModel
from interlock.commands.operate.render import page, regions

COOKIE = "interlock-place"
_STATIC = Path(__file__).with_name("static")
_MAX_PLACES = 32
_MAX_BODY = 1_200_000
_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
)
# As an image a drawing runs no script whatever it says; opened by itself it may not either.
_PICTURE_POLICY = "default-src 'none'; style-src 'unsafe-inline'; sandbox"
_HEADERS = {
    "Content-Security-Policy": _POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cache-Control": "no-store",
}


class Gate:
    """Refuses requests from elsewhere and puts the protecting headers on every answer.

    Parameters
    ----------
    app : ASGI application
    hosts : collection of str
        Names with ports under which this server is asked.
    secret : str
        What every path begins with.
    """

    def __init__(self, app: ASGIApp, hosts: Collection[str], secret: str) -> None:
        self._app = app
        self._root = f"/{secret}/".encode()
        self._hosts = frozenset(hosts)
        self._origins = frozenset(f"http://{host}" for host in hosts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            return
        refused = self._refused(scope)

        async def guarded(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        if refused:
            await PlainTextResponse(refused + "\n", 403)(scope, receive, guarded)
        else:
            await self._app(scope, receive, guarded)

    def _refused(self, scope: Scope) -> str:
        headers = Headers(scope=scope)
        if headers.get("host", "") not in self._hosts:
            return "refused: this bench is asked for by another name"
        begins = scope["path"].encode(errors="replace")[: len(self._root)]
        if not secrets.compare_digest(begins, self._root):
            return "refused: open the whole address that 'interlock operate' told"
        origin = headers.get("origin")
        if origin is not None and origin not in self._origins:
            return "refused: the request comes from another origin"
        if scope["method"] not in ("GET", "HEAD") and origin is None:
            return "refused: the request does not say where it comes from"
        if headers.get("sec-fetch-site", "none") not in ("none", "same-origin"):
            return "refused: another page leads here; type or paste the address into a new tab"
        return ""


@dataclass
class _Place:
    desk: Desk
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    lock: threading.Lock = field(default_factory=threading.Lock)


def cookie_of(request: Request) -> str:
    """Name of the cookie: a browser sends those of one port to all others of the machine."""
    return f"{COOKIE}-{request.url.port or 80}"


class Places:
    """The place of each browser; the one that was not used longest gives way.

    Parameters
    ----------
    served : ServedModel
    """

    def __init__(self, served: ServedModel) -> None:
        self.served = served
        self._places: OrderedDict[str, _Place] = OrderedDict()
        self._lock = threading.Lock()

    def find(self, request: Request) -> _Place | None:
        """The place of the browser that asks, where it has one."""
        key = request.cookies.get(cookie_of(request), "")
        with self._lock:
            if key in self._places:
                self._places.move_to_end(key)
            return self._places.get(key)

    def make(self) -> tuple[str, _Place]:
        """A new place and its key."""
        key, place = secrets.token_urlsafe(24), _Place(Desk(self.served))
        with self._lock:
            self._places[key] = place
            while len(self._places) > _MAX_PLACES:
                self._places.popitem(last=False)
        return key, place


class _Bench:
    """The answers to each address."""

    def __init__(self, served: ServedModel, secret: str) -> None:
        self.served = served
        self.root = f"/{secret}/"
        self.places = Places(served)
        self.files = {name: (_STATIC / name).read_bytes() for name in ("operate.js", "operate.css")}

    def page(self, request: Request) -> Response:
        place = self.places.find(request)
        key = ""
        if place is None:
            key, place = self.places.make()
        with place.lock:
            answer = Response(page(place.desk, place.token), media_type="text/html")
        if key:
            name = cookie_of(request)
            answer.set_cookie(name, key, path=self.root, httponly=True, samesite="strict")
        return answer

    async def do(self, request: Request) -> Response:
        place = self.places.find(request)
        token = request.headers.get("x-bench-token", "")
        if place is None or not secrets.compare_digest(token.encode(), place.token.encode()):
            said = "This page is older than the bench it speaks to; load it again."
            return JSONResponse({"trouble": said}, 403)
        if request.headers.get("content-type", "").partition(";")[0] != "application/json":
            return JSONResponse({"trouble": "only JSON is understood"}, 415)
        body = bytearray()
        async for part in request.stream():
            body += part
            if len(body) > _MAX_BODY:
                return JSONResponse({"trouble": "too much at once"}, 413)
        return await run_in_threadpool(_answer, place, bytes(body))

    def picture(self, request: Request) -> Response:
        place = self.places.find(request)
        key, address = request.path_params["key"], request.path_params["address"]
        bench = None if place is None else place.desk.bench
        if bench is None or bench.key != key:
            bench = self.served.find(key)
        values = None if bench is None else bench.values_at(address)
        if bench is None or values is None:
            return PlainTextResponse("no such picture\n", 404)
        text = bench.side_view.draw(values, title=bench.model.title)
        headers = {
            "Content-Security-Policy": _PICTURE_POLICY,
            "Cache-Control": "private, max-age=3600, immutable",
        }
        return Response(text, media_type="image/svg+xml", headers=headers)

    def run_file(self, request: Request) -> Response:
        place = self.places.find(request)
        if place is None:
            return PlainTextResponse("no run\n", 404)
        with place.lock:
            text = place.desk.run_file()
        return _attached(text, "run.json", "application/json")

    def program(self, request: Request) -> Response:
        place = self.places.find(request)
        if place is None:
            return PlainTextResponse("no program\n", 404)
        with place.lock:
            text = place.desk.bench.listing.text_of(request.query_params.get("file", ""))
        return _attached(text, "program.st", "text/plain")

    def static(self, request: Request) -> Response:
        name = request.url.path.rpartition("/")[2]
        kind = "text/javascript" if name.endswith(".js") else "text/css"
        return Response(self.files[name], media_type=kind)


def _attached(text: str, name: str, kind: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(text, media_type=kind, headers=headers)


def _answer(place: _Place, body: bytes) -> Response:
    try:
        given = json.loads(body)
        # JSON can spell one half of a surrogate pair (RFC 8259, section 8.2); no text holds one.
        json.dumps(given, ensure_ascii=False).encode()
    except UnicodeEncodeError:
        return JSONResponse({"trouble": "half a character is no text"}, 400)
    except (ValueError, RecursionError):
        return JSONResponse({"trouble": "not understood"}, 400)
    if not isinstance(given, dict):
        return JSONResponse({"trouble": "not understood"}, 400)
    with place.lock:
        try:
            said = perform(place.desk, given)
            return JSONResponse(_state(place.desk, said))
        except BadRequestError as error:
            return JSONResponse({"trouble": str(error)}, 400)
        except Exception as error:
            return JSONResponse({"trouble": defect_in_words(error)}, 500)


def _state(desk: Desk, said: str) -> dict[str, Any]:
    # Asked first: of a job that ends while the regions are made, they show nothing yet, and the
    # page has to look once more.
    is_judging = bool(desk.open_jobs())
    return {
        "regions": regions(desk),
        "say": said,
        "rest": desk.session.is_at_rest or desk.session.is_full,
        "by_itself": desk.session.by_itself,
        "jobs": is_judging,
        "next": "confirm" if desk.unconfirmed() else "why" if desk.is_puzzled else "",
    }


def make_app(served: ServedModel, hosts: Collection[str], secret: str) -> ASGIApp:
    """The whole page as an application.

    Parameters
    ----------
    served : ServedModel
    hosts : collection of str
        Names with ports under which it is asked; all others are refused.
    secret : str
        The first part of every path, of characters that an address takes as they are; without it
        all is refused.
    """
    bench = _Bench(served, secret)
    routes = [
        Route("/", bench.page),
        Route("/do", bench.do, methods=["POST"]),
        Route("/picture/{key:str}/{address:str}.svg", bench.picture),
        Route("/run.json", bench.run_file),
        Route("/program.st", bench.program),
        Route("/operate.js", bench.static),
        Route("/operate.css", bench.static),
    ]
    return Gate(Starlette(routes=[Mount(f"/{secret}", routes=routes)]), hosts, secret)
