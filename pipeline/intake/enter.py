"""The form served on this computer alone: who may ask, what is sent back, and nothing else. The only door to the web framework."""

from __future__ import annotations

import hashlib
import os
import secrets
import socket
import threading
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pipeline.book.connection import WAIT_S, open_book
from pipeline.book.current import known_rows
from pipeline.errors import RillbookError
from pipeline.intake import typed_visit as entry
from pipeline.intake.request_guard import HERE, Refused, body_of, guarded, policy_for, with_token
from pipeline.intake.settings_changed import settled
from pipeline.publishing.public_book import public_title
from pipeline.reading.survey_document import parse

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import ASGIApp

# Ports that the assigned numbers leave to anybody: IANA, RFC 6335, section 6.
FREE_PORTS = range(49152, 65536)
TANK_PATH = "/tank"
SERVED_WAIT_S = 2.0
"""Longest wait of the served form for a book that another command is using, s."""


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

    settled(folder)
    # a person waits at the page
    WAIT_S.set(min(WAIT_S.get(), SERVED_WAIT_S))
    token = secrets.token_urlsafe(32)
    with listen(folder, port) as listening:
        number = listening.getsockname()[1]

        def ready() -> None:
            say(f"The form is at http://{HERE}:{number}/?token={token}")
            log = f"http://{HERE}:{number}{TANK_PATH}?token={token}"
            say(f"Open this address in a browser on this computer; nobody else can. The log of the enclosures: {log}. Ctrl-C ends it.")

        pages = {"/": lambda: form_of(folder), TANK_PATH: lambda: tank_log_of(folder)}
        app = make_app(folder, token, number, pages, ready)
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

    settings = settled(folder)
    with open_book(folder) as connection:
        known = known_rows(connection)
    return form_page(settings, known, public_title(settings, known))


def tank_log_of(folder: Path) -> str:
    """The page of the enclosures' log of a book."""
    from pipeline.entry.tank_form import tank_page

    settings = settled(folder)
    with open_book(folder) as connection:
        known = known_rows(connection)
    return tank_page(settings, known, public_title(settings, known))


def make_app(folder: Path, token: str, port: int, pages: Mapping[str, Callable[[], str]], ready: Callable[[], None]) -> ASGIApp:
    """The application: a ``GET`` for each page, ``POST /check``, ``POST /load``; every request is looked at before anything is done.

    Parameters
    ----------
    folder : Path
        The book.
    token : str
        What a request must know: in the address for the page, in a header for the rest.
    port : int
        Port of the address at which it is served.
    pages : mapping
        What makes each page, by its path.
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
                    text = with_token(pages[request.url.path](), token)
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

    routes = [*(Route(path, form) for path in pages), Route("/check", check, methods=["POST"]), Route("/load", load, methods=["POST"])]
    app = Starlette(routes=routes, exception_handlers={Refused: refused}, lifespan=lifespan)
    return guarded(app, token, port, refused)


def _json(body: bytes) -> Any:
    try:
        return parse(body.decode("utf-8"), entry.WHERE)
    except UnicodeDecodeError:
        raise RillbookError("what was sent is not UTF-8 text.", "Reload the page; the draft stays.") from None
