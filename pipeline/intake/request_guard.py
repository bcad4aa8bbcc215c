"""Who may speak to the served form: this computer, this page, this token; and what the page may do."""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from pipeline.errors import RillbookError

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.types import ASGIApp

HERE = "127.0.0.1"
# A visit of a thousand finds with every field filled in is below one million bytes.
LARGEST_BODY = 8_000_000
TOKEN_HEADER = "x-rillbook-token"
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


def guarded(app: ASGIApp, token: str, port: int, refused: Callable[[Any, Refused], Any]) -> ASGIApp:
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
