"""Who may speak to the page: this machine, at this address, with the token of this run.

The page has the hand on files, so that no other program's web page may reach it: requests that
name another host (a name that was made to point here) or come from another page are refused, and
so is everything without the token that the command printed.
"""

from __future__ import annotations

import secrets
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Receive, Scope, Send

HOST = "127.0.0.1"
NAMES = (HOST, "localhost")
LOCAL = (HOST, "::1")
_LOCKED = {
    "Content-Security-Policy": "default-src 'self'; script-src 'self' 'unsafe-inline' "
    "'unsafe-eval'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; font-src 'self' "
    "data:; connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'none'",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def new_token() -> str:
    """Return a token nobody can guess."""
    return secrets.token_urlsafe(24)


class Guard:
    """Lets through what comes from the page itself, and nothing else."""

    def __init__(self, app: ASGIApp, token: str, port: int) -> None:
        """Stand before `app`, which is served on `port` of this machine."""
        self._app = app
        self._token = token
        self._hosts = {f"{name}:{port}" for name in NAMES}
        self._origins = {f"http://{host}" for host in self._hosts}
        self._cookie = f"glowsim_live_{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = {k.decode("latin-1").lower(): v.decode("latin-1") for k, v in scope["headers"]}
        by_address = self._by_address(scope)
        reason = self._refused(scope, headers, by_address)
        if not reason:
            await self._app(scope, receive, self._adding(send, by_address))
        elif scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 1008, "reason": reason})
        else:
            await PlainTextResponse(f"refused: {reason}\n", 403)(scope, receive, send)

    def _by_address(self, scope: Scope) -> bool:
        given = parse_qs(scope.get("query_string", b"").decode("latin-1")).get("token", [])
        return any(self._is_token(value) for value in given)

    def _is_token(self, value: str) -> bool:
        return secrets.compare_digest(value.encode(), self._token.encode())

    def _refused(self, scope: Scope, headers: dict[str, str], by_address: bool) -> str:
        client = scope.get("client")
        if client is None or client[0] not in LOCAL:
            return "from another machine"
        if headers.get("host", "") not in self._hosts:
            return "for another host"
        if headers.get("origin", "") not in {"", *self._origins}:
            return "from another page"
        # A link from elsewhere may open the page with its token, and load nothing without.
        site = headers.get("sec-fetch-site", "none")
        if site not in ("none", "same-origin"):
            return "from another page"
        if scope["type"] == "websocket" and not headers.get("origin"):
            return "without an origin"
        if not by_address and not self._is_token(self._cookie_of(headers)):
            return "without the token; open the address that the command printed"
        return ""

    def _cookie_of(self, headers: dict[str, str]) -> str:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self._cookie)
        except CookieError:
            return ""
        return found.value if found else ""

    def _adding(self, send: Send, by_address: bool) -> Send:
        """Return a `send` that adds what locks the page, and the cookie its own requests carry."""
        extra = [(k.lower().encode(), v.encode()) for k, v in _LOCKED.items()]
        if by_address:
            cookie = f"{self._cookie}={self._token}; Path=/; HttpOnly; SameSite=Strict"
            extra.append((b"set-cookie", cookie.encode()))

        async def sending(message: object) -> None:
            assert isinstance(message, dict)
            if message["type"] == "http.response.start":
                message = message | {"headers": [*message.get("headers", []), *extra]}
            await send(message)

        return sending
