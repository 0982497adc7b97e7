"""Dagster's web server with a guard before it: only pages of this machine may ask, and a link cannot change anything.

A page from anywhere, open in the same browser, can send requests to this machine; a name that somebody else's server
resolves to 127.0.0.1 makes them look like its own. So the request must be addressed to this machine by name, one that a
page sends must come from these pages, and what is asked with GET is never carried out as GraphQL.
``python -m pipelines.assets.web`` takes the options of ``dagster-webserver``.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from typing import Any
from urllib.parse import urlsplit

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

#: What this machine is called in an address.
NAMES = frozenset({"127.0.0.1", "localhost", "::1"})


class OnlyThisMachine:
    """ASGI middleware that refuses what does not come from a page of this machine, with 403 and one line."""

    def __init__(self, app: App) -> None:
        self._app = app

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Answer, or hand on."""
        if scope["type"] in ("http", "websocket") and (why := refusal(scope)) is not None:
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1008, "reason": why})
                return
            headers = [(b"content-type", b"text/plain; charset=utf-8")]
            await send({"type": "http.response.start", "status": 403, "headers": headers})
            await send({"type": "http.response.body", "body": f"Refused: {why}.\n".encode()})
            return
        await self._app(scope, receive, send)


def refusal(scope: Message) -> str | None:
    """Why a request is refused; None if it is not."""
    hosts = _headers(scope, b"host")
    if len(hosts) != 1 or _name(f"//{hosts[0]}") not in NAMES:
        return "it is not addressed to this machine by its own name"
    for origin in _headers(scope, b"origin"):
        if urlsplit(origin).scheme not in ("http", "https") or urlsplit(origin).netloc != hosts[0]:
            return "it comes from a page of another site"
    if "cross-site" in _headers(scope, b"sec-fetch-site") and "navigate" not in _headers(scope, b"sec-fetch-mode"):
        return "it comes from a page of another site"
    is_read = scope["type"] == "http" and scope["method"] in ("GET", "HEAD")
    if is_read and scope["path"].rstrip("/").endswith("/graphql") and not _wants_page(scope):
        return "a question with GET is not carried out; send it with POST"
    return None


def _headers(scope: Message, name: bytes) -> list[str]:
    headers: Iterable[tuple[bytes, bytes]] = scope["headers"]
    return [value.decode("latin-1") for key, value in headers if key.lower() == name]


def _name(address: str) -> str | None:
    try:
        return urlsplit(address).hostname
    except ValueError:
        return None


def _wants_page(scope: Message) -> bool:
    """Whether the page in which questions are written is asked for; Dagster then carries nothing out."""
    return any("text/html" in accepted for accepted in _headers(scope, b"accept"))


def main() -> None:
    """Start Dagster's web server behind the guard."""
    from dagster_webserver.cli import main as start
    from dagster_webserver.webserver import DagsterWebserver
    from starlette.middleware import Middleware

    own = DagsterWebserver.build_middleware

    def guarded(server: DagsterWebserver) -> list[Middleware]:
        return [Middleware(OnlyThisMachine), *own(server)]

    DagsterWebserver.build_middleware = guarded  # type: ignore[method-assign, assignment]
    start()  # type: ignore[no-untyped-call]


if __name__ == "__main__":
    main()
