"""What stands before every request: only this page's own requests come through, bodies are bounded, and answers say what a browser may do.

A page of another site can make a browser send requests here. Host tells which name the browser thinks it speaks to (a name that was
bent to this machine shows there), Origin and Sec-Fetch-Site who asks (Fetch Metadata, W3C working draft).
"""

from __future__ import annotations

import hmac
from collections.abc import Collection
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LARGEST_BODY = 64 * 1024
LARGEST_FORM = 256 * 1024
"""Of the pages of lots: a rule in its authority's own words, each letter of which may take up to twelve bytes on its way."""
COOKIE = "speckwise_desk"
ENTER = "/enter/"
"""A secret link is this and the secret; following it lets the browser in."""
SUPERVISOR = "/supervisor/"
"""The supervisor's page is this and a key of its own, which the desk prints where it was opened and nowhere else."""
LOTS = "/lots"
"""Pages of lots are this and what is below it, here and below the supervisor's."""
_HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
}


class Guard:
    """ASGI middleware. `hosts`: values of Host that are us. `secret`: who follows the link with it is let in; '' lets all in."""

    def __init__(self, app: ASGIApp, hosts: Collection[str], secret: str = "") -> None:
        self._app = app
        self._hosts = frozenset(host.lower() for host in hosts)
        self._secret = secret

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answers a request that must not come through itself; else hands it on."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        if scope["type"] != "http":
            # The page has no use for a socket that stays open.
            await send({"type": "websocket.close", "code": 1008})
            return
        headers = Headers(scope=scope)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = MutableHeaders(raw=message["headers"])
                for name, value in _HEADERS.items():
                    own[name] = value
                own.setdefault("cache-control", "no-store")
            await send(message)

        refused = self._refusal(scope["method"], scope["path"], headers)
        if refused:
            await PlainTextResponse(refused, 403)(scope, receive, send_with_headers)
        elif (body := await _bounded(receive, LARGEST_FORM if of_lots(scope["path"]) else LARGEST_BODY)) is None:
            await PlainTextResponse("The request is too large.", 413)(scope, receive, send_with_headers)
        elif self._secret and scope["path"].startswith(ENTER):
            await self._let_in(scope["path"], headers)(scope, receive, send_with_headers)
        else:
            await self._app(scope, _again(body, receive), send_with_headers)

    def _refusal(self, method: str, path: str, headers: Headers) -> str:
        """Why a request is not let through; ''."""
        if headers.get("host", "").lower() not in self._hosts:
            return "This desk does not go by that name. Open the address that it printed."
        entering = method in ("GET", "HEAD") and path.startswith(ENTER)
        site = headers.get("sec-fetch-site", "none")
        if site not in ("same-origin", "none") and not entering:
            return "Another site asked for this. Type the desk's address into the browser."
        origin = headers.get("origin")
        if origin is not None and origin.lower() not in {f"http://{host}" for host in self._hosts}:
            return "Another site asked for this. Type the desk's address into the browser."
        if method not in ("GET", "HEAD") and (refused := _why_not_taken(path, headers)):
            return refused
        # The supervisor's page asks for its own key.
        if self._secret and not entering and not path.startswith(SUPERVISOR) and not self._knows(headers):
            return "Open the secret link that the desk printed when it was opened last."
        return ""

    def _knows(self, headers: Headers) -> bool:
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(cookie_name(headers))
        except CookieError:
            return False
        return cookie is not None and hmac.compare_digest(cookie.value.encode(), self._secret.encode())

    def _let_in(self, path: str, headers: Headers) -> PlainTextResponse | RedirectResponse:
        if not hmac.compare_digest(path.removeprefix(ENTER).encode(), self._secret.encode()):
            return PlainTextResponse(
                "That is not the secret link of this desk. It changes when the desk is opened anew.", 403
            )
        answer = RedirectResponse("/", 303)
        let_in(answer, headers, self._secret)
        return answer


def _why_not_taken(path: str, headers: Headers) -> str:
    """Why a body is not taken, by what it is; ''."""
    # A form is what a page of another site can send without being asked first: only where it needs a key besides, or where the browser
    # says itself from which page it comes.
    lots, with_key = of_lots(path), path.startswith(SUPERVISOR)
    taken = (_FORM, _FORM_WITH_FILE) if lots else (_FORM,) if with_key else (_JSON,)
    if headers.get("content-type", "").split(";")[0].strip().lower() not in taken:
        return "A request with a body is JSON, or a form of the supervisor's or of a lot."
    if lots and not with_key and "origin" not in headers:
        return "The browser does not say from which page this form comes, so it was not kept. Send it with a newer one."
    return ""


def of_lots(path: str) -> bool:
    """Whether an address is one of the pages of lots."""
    own = path.removeprefix(SUPERVISOR).partition("/")
    below = "/" + own[2] if path.startswith(SUPERVISOR) and own[1] else path
    return below == LOTS or below.startswith(LOTS + "/")


def let_in(answer: Response, headers: Headers, secret: str) -> None:
    """Makes the browser that gets this answer one that knows the secret, until it is closed."""
    answer.set_cookie(cookie_name(headers), secret, httponly=True, samesite="lax")


def cookie_name(headers: Headers) -> str:
    """The cookie's name for the port that a request speaks to: browsers keep one jar for all ports of a machine."""
    port = headers.get("host", "").rpartition(":")[2]
    return f"{COOKIE}_{port}" if port.isascii() and port.isdigit() else COOKIE


async def _bounded(receive: Receive, largest: int) -> bytes | None:
    """The whole body of a request; None where it is larger than any that a page of ours sends, or where it breaks off."""
    body = bytearray()
    while True:
        message = await receive()
        body += message.get("body", b"")
        if message["type"] != "http.request" or len(body) > largest:
            return None
        if not message.get("more_body", False):
            return bytes(body)


def _again(body: bytes, receive: Receive) -> Receive:
    """Gives the body once, then what comes after it: that the browser has gone."""
    given = False

    async def give() -> Message:
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return give


_JSON, _FORM, _FORM_WITH_FILE = "application/json", "application/x-www-form-urlencoded", "multipart/form-data"
