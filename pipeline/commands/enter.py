"""The form served on this computer alone: who may ask, what is sent back, and nothing else. The only door to the web framework."""

from __future__ import annotations

import base64
import hashlib
import hmac
import os
import re
import secrets
import socket
import threading
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.book.connection import open_book
from pipeline.book.current import known_rows
from pipeline.commands import typed_visit as entry
from pipeline.errors import RillbookError
from pipeline.publishing.public_book import public_title
from pipeline.reading.survey_document import parse
from pipeline.settings import read_settings

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import ASGIApp

HERE = "127.0.0.1"
# A visit of a thousand finds with every field filled in is below one million bytes.
LARGEST_BODY = 8_000_000
TOKEN_HEADER = "x-rillbook-token"
# Ports that the assigned numbers leave to anybody: IANA, RFC 6335, section 6.
FREE_PORTS = range(49152, 65536)
SAFETY = {
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
NOTHING_RUNS = "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'"
SCRIPT = re.compile(r"<script\b[^>]*>(.*?)</script\s*>", re.IGNORECASE | re.DOTALL)


class Refused(Exception):
    """A request that is not answered: status and the reason in words."""

    def __init__(self, status: int, why: str) -> None:
        self.status, self.why = status, why
        super().__init__(why)


def serve(folder: Path, port: int | None = None, say: Callable[[str], None] = print) -> None:
    """Serve the form of a book until Ctrl-C.

    Parameters
    ----------
    folder : Path
        The book.
    port : int, optional
        Port to listen on; by default one that follows from the book's folder, so that the browser finds a draft again, or any free one.
    say : callable
        Told the address, and that serving has ended.

    Raises
    ------
    RillbookError
        The folder is no book, or the port is taken.
    """
    import uvicorn

    read_settings(folder)
    token = secrets.token_urlsafe(32)
    with listen(folder, port) as listening:
        number = listening.getsockname()[1]

        def ready() -> None:
            say(f"The form is at http://{HERE}:{number}/?token={token}")
            say("Open this address in a browser on this computer; nobody else can. Ctrl-C ends it.")

        app = make_app(folder, token, number, lambda: form_of(folder), ready)
        server = uvicorn.Server(
            uvicorn.Config(
                app, http="h11", ws="none", lifespan="on", loop="asyncio", log_config=None, log_level="error", access_log=False,
                server_header=False, proxy_headers=False,
            )
        )  # fmt: skip
        # uvicorn finishes what is under way, and then passes the signal on
        with suppress(KeyboardInterrupt):
            server.run(sockets=[listening])
    say("Ended. What was loaded is in the book; an unfinished draft stays in the browser.")


def listen(folder: Path, port: int | None) -> socket.socket:
    """A socket on the loopback address.

    Raises
    ------
    RillbookError
        The port that was asked for is taken or not allowed.
    """
    digest = hashlib.sha256(str(folder.resolve()).encode("utf-8", "surrogateescape")).digest()
    own = FREE_PORTS[int.from_bytes(digest[:4], "big") % len(FREE_PORTS)]
    for number in (own, 0) if port is None else (port,):
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        if os.name == "posix":
            # elsewhere this lets two programs share a port
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((HERE, number))
            listening.listen()
            return listening
        except OSError as problem:
            listening.close()
            why = problem.strerror
    raise RillbookError(f"port {port} cannot be used ({why}).", "Choose another with --port, or leave it out.")


def form_of(folder: Path) -> str:
    """The form of a book, with its sites, taxa and codes."""
    from pipeline.entry.form import form_page

    settings = read_settings(folder)
    with open_book(folder) as connection:
        known = known_rows(connection)
    return form_page(settings, known, public_title(settings, known))


def make_app(folder: Path, token: str, port: int, page: Callable[[], str], ready: Callable[[], None]) -> ASGIApp:
    """The application: ``GET /``, ``POST /check``, ``POST /load``; every request is looked at before anything is done.

    Parameters
    ----------
    folder : Path
        The book.
    token : str
        What a request must know: in the address for the page, in a header for the rest.
    port : int
        Port of the address at which it is served.
    page : callable
        Makes the page.
    ready : callable
        Told when requests are answered, and Ctrl-C is seen to.

    Returns
    -------
    ASGI application
    """
    from starlette.applications import Starlette
    from starlette.concurrency import run_in_threadpool
    from starlette.responses import HTMLResponse, JSONResponse, Response
    from starlette.routing import Route

    # the book takes one connection at a time
    one_at_a_time = threading.Lock()

    def work(task: Callable[[], dict[str, Any]], empty: dict[str, Any]) -> JSONResponse:
        with one_at_a_time:
            try:
                return JSONResponse(task())
            except RillbookError as problem:
                return JSONResponse({**empty, "message": str(problem)}, 422)
            except Exception as problem:
                if os.environ.get("RILLBOOK_TRACEBACK"):
                    raise
                first = (str(problem).splitlines() or [""])[0]
                message = f"rillbook stumbled over {type(problem).__name__}: {first}. Save the survey as a file; the page still holds it."
                return JSONResponse({**empty, "message": message}, 500)

    async def form(request: Request) -> Response:
        def make() -> Response:
            with one_at_a_time:
                try:
                    text = with_token(page(), token)
                except RillbookError as problem:
                    return Response(str(problem), 503, media_type="text/plain")
            return HTMLResponse(text, headers={"Content-Security-Policy": policy_for(text)})

        return await run_in_threadpool(make)

    async def check(request: Request) -> Response:
        body = await body_of(request)
        return await run_in_threadpool(work, lambda: entry.check_document(folder, _json(body)), {"problems": [], "clean": False})

    async def load(request: Request) -> Response:
        body = await body_of(request)

        def task() -> dict[str, Any]:
            sent = _json(body)
            if not isinstance(sent, dict) or not isinstance(sent.get("send_good_rows", False), bool):
                raise RillbookError("the request is not as agreed.", "Reload the page; the draft stays.")
            return entry.load_document(folder, sent.get("document"), sent.get("send_good_rows", False))

        return await run_in_threadpool(work, task, {"loaded": False, "load": None, "held": 0, "problems": []})

    def refused(request: Request, problem: Any) -> Response:
        # the rest of a body that is too large is not read
        return JSONResponse({"message": problem.why}, problem.status, headers={"Connection": "close"})

    @asynccontextmanager
    async def lifespan(app: Any) -> AsyncIterator[None]:
        ready()
        yield

    routes = [Route("/", form), Route("/check", check, methods=["POST"]), Route("/load", load, methods=["POST"])]
    app = Starlette(routes=routes, exception_handlers={Refused: refused}, lifespan=lifespan)
    return _guarded(app, token, port, refused)


def _guarded(app: ASGIApp, token: str, port: int, refused: Callable[[Any, Refused], Any]) -> ASGIApp:
    """Refuse what does not come from our own page, and put the safety headers on every answer."""
    from starlette.datastructures import MutableHeaders
    from starlette.requests import Request

    async def guarded(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "lifespan":
            await app(scope, receive, send)
            return

        async def safely(message: Any) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(SAFETY)
                headers.setdefault("Content-Security-Policy", NOTHING_RUNS)
            await send(message)

        request = Request(scope, receive)
        try:
            look_at(request, token, port)
            answer: Any = app
        except Refused as problem:
            answer = refused(request, problem)
        await answer(scope, receive, safely)

    return guarded


def look_at(request: Request, token: str, port: int) -> None:
    """Look at where a request comes from and what it brings.

    Raises
    ------
    Refused
        Another host (a name that was made to point here), another origin, no token or a wrong one, a body that is no JSON or too large.
    """
    headers, reads = request.headers, request.method in ("GET", "HEAD")
    if headers.getlist("host") != [f"{HERE}:{port}"]:
        raise Refused(403, f"Only http://{HERE}:{port} is served.")
    origins = headers.getlist("origin")
    if origins != [f"http://{HERE}:{port}"] and (origins or not reads):
        raise Refused(403, "Only rillbook's own page may ask.")
    given = request.query_params.getlist("token") if reads else headers.getlist(TOKEN_HEADER)
    if len(given) != 1 or not hmac.compare_digest(given[0].encode(), token.encode()):
        raise Refused(403, "The token is missing or wrong. Open the address that `rillbook enter` printed last.")
    if reads:
        return
    if headers.get("content-type", "").replace(" ", "").casefold() not in ("application/json", "application/json;charset=utf-8"):
        raise Refused(415, "Only JSON is taken.")
    length = headers.get("content-length", "0")
    if not re.fullmatch(r"[0-9]{1,15}", length) or int(length) > LARGEST_BODY:
        raise Refused(413, f"More than {LARGEST_BODY} bytes are not taken.")


async def body_of(request: Request) -> bytes:
    """The body, read no further than the limit; a request need not state its length, or may lie.

    Raises
    ------
    Refused
        It is too large.
    """
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > LARGEST_BODY:
            raise Refused(413, f"More than {LARGEST_BODY} bytes are not taken.")
    return bytes(body)


def _json(body: bytes) -> Any:
    try:
        return parse(body.decode("utf-8"), entry.WHERE)
    except UnicodeDecodeError:
        raise RillbookError("what was sent is not UTF-8 text.", "Reload the page; the draft stays.") from None


def with_token(page: str, token: str) -> str:
    """The page told that it is served, before any of its own scripts runs.

    Raises
    ------
    RillbookError
        The page has no head.
    """
    told = f'<link rel="icon" href="data:,"><script>window.RILLBOOK = {{"mode": "served", "token": "{token}"}};</script>'
    served, times = re.subn(r"<head\b[^>]*>", lambda match: match[0] + told, page.replace("\r\n", "\n"), count=1)
    if not times:
        raise RillbookError("the form has no head.", "Install rillbook again.")
    return served


def policy_for(page: str) -> str:
    """Content security policy of a page: its own scripts by their hash, its styles and pictures, this server, and nothing else."""
    digests = [base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in SCRIPT.findall(page)]
    hashes = " ".join(f"'sha256-{digest}'" for digest in dict.fromkeys(digests))
    return f"{NOTHING_RUNS}; script-src {hashes}; style-src 'unsafe-inline'; img-src data: blob:; connect-src 'self'"
