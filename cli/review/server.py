"""The desk behind a socket: routes, each one call of the desk, and what goes wrong as a status and a sentence."""

from __future__ import annotations

import hmac
import json
from collections.abc import Awaitable, Callable, Collection, Mapping
from importlib import resources
from typing import Any
from urllib.parse import parse_qs

import jinja2
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import Route
from starlette.types import ASGIApp

from cli.exits import why_stopped
from cli.review.answers import BASES, BODIES, READINGS, UNAIDED, AnswerError, WrongDesk
from cli.review.desk import Desk
from cli.review.guard import LOTS, SUPERVISOR, Guard, let_in
from cli.review.kinds import kinds_offered
from cli.review.link_routes import link_routes
from cli.review.lot_pages import LotPages
from cli.review.pictures import PictureTrouble
from cli.review.store import StoreError
from cli.review.supervisor import supervisor_told
from vision.errors import DiskFull, SpeckwiseError

_TYPES = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
_FOR_A_DAY = "private, max-age=86400, immutable"
Handler = Callable[[Request], Awaitable[Response]]


def make_app(desk: Desk, words: Mapping[str, str], hosts: Collection[str], key: str, secret: str = "") -> ASGIApp:
    """The application. `hosts`: what Host may say; `key`: the supervisor's; `secret`: what the shared link holds, '' without one."""
    pages = _environment(words)

    def page(request: Request) -> Response:
        return HTMLResponse(pages.get_template("desk.html.j2").render(**_choices(desk)))

    def opening(request: Request) -> Response:
        return JSONResponse(desk.opening())

    def shots(request: Request) -> Response:
        return JSONResponse(desk.shots(_reading(request), request.query_params.get("reviewer", "")))

    def said(request: Request) -> Response:
        return JSONResponse(desk.said(_reading(request), _whole(request.query_params.get("after", "0"))))

    def sums(request: Request) -> Response:
        return JSONResponse(desk.sums(_reading(request)))

    def part(request: Request) -> Response:
        at = request.path_params
        shot = desk.shelf.by_sha256.get(at["sha256"])
        if shot is None:
            return PlainTextResponse("There is no such shot in this run.", 404)
        box = [_whole(at[name]) for name in ("left", "top", "wide", "high", "shrink")]
        try:
            data = desk.pictures.part(shot, *box)
        except ValueError:
            raise AnswerError("There is no such part of this photograph.") from None
        return Response(data, media_type="image/jpeg", headers={"cache-control": _FOR_A_DAY})

    def supervisor(request: Request) -> Response:
        if not hmac.compare_digest(request.path_params["key"].encode(), key.encode()):
            return PlainTextResponse("That is not the supervisor's link of this desk.", 403)
        told = supervisor_told(desk, words)
        page = pages.get_template("supervisor.html.j2")
        answer = HTMLResponse(page.render(told=told, opening=desk.opening(), lots=f"{SUPERVISOR}{key}{LOTS}"))
        if secret:
            # Whoever has the key may see the desk too: else the page could not even ask for its style.
            let_in(answer, request.headers, secret)
        return answer

    async def begin_second(request: Request) -> Response:
        if not hmac.compare_digest(request.path_params["key"].encode(), key.encode()):
            return PlainTextResponse("That is not the supervisor's link of this desk.", 403)
        fields = parse_qs((await request.body()).decode("utf-8", "replace"))
        share, by = (fields.get(name, [""])[0] for name in ("share", "by"))
        try:
            await run_in_threadpool(desk.begin_second, _share(share), by)
        except AnswerError as error:
            return PlainTextResponse(str(error), 400)
        return await run_in_threadpool(supervisor, request)

    routes = [
        Route("/", page),
        Route("/static/{name}", _static),
        Route("/words", lambda request: JSONResponse(dict(words))),
        Route("/opening", opening),
        Route("/shots", shots),
        Route("/said", said),
        Route("/sums", sums),
        Route("/part/{sha256}/{left},{top},{wide},{high}/{shrink}.jpg", part),
        Route("/answer", _posted(desk.answer), methods=["POST"]),
        Route("/add", _posted(desk.add), methods=["POST"]),
        Route("/looked", _posted(desk.looked), methods=["POST"]),
        Route(SUPERVISOR + "{key}", supervisor),
        Route(SUPERVISOR + "{key}", begin_second, methods=["POST"]),
        *LotPages(desk, words, pages, key, secret).routes(),
        *link_routes(desk, words, pages),
    ]
    app = Starlette(routes=routes, exception_handlers=_handlers(words))
    return Guard(app, hosts, secret)


def _posted(act: Callable[[Mapping[str, object]], dict[str, Any]]) -> Handler:
    async def handle(request: Request) -> Response:
        try:
            fields = json.loads(await request.body(), object_pairs_hook=_once_each, parse_constant=_no_number)
        except (ValueError, RecursionError):
            raise AnswerError("The request is no JSON.") from None
        if not isinstance(fields, dict):
            raise AnswerError("The request is no JSON object.")
        return JSONResponse(await run_in_threadpool(act, fields))

    return handle


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """What is said twice is not said (RFC 8259 leaves open which of the two would count)."""
    fields = dict(pairs)
    if len(fields) < len(pairs):
        raise ValueError("a name stands twice")
    return fields


def _no_number(text: str) -> float:
    raise ValueError(f"{text} is no JSON")


def _handlers(words: Mapping[str, str]) -> Mapping[type[Exception], Callable[[Request, Exception], Response]]:
    """What goes wrong, as a status and a sentence: the page shows it as it stands."""

    def said(status: int) -> Callable[[Request, Exception], Response]:
        return lambda request, error: JSONResponse({"error": str(error)}, status)

    def trouble(request: Request, error: Exception) -> Response:
        return JSONResponse({"error": words[f"trouble.{error}"], "trouble": str(error)}, 409)

    return {
        AnswerError: said(400),
        WrongDesk: said(421),
        PictureTrouble: trouble,
        DiskFull: said(507),
        StoreError: said(503),
        SpeckwiseError: said(500),
        Exception: lambda request, error: JSONResponse({"error": why_stopped(error)}, 500),
    }


def _static(request: Request) -> Response:
    name = request.path_params["name"]
    folder = resources.files("cli.review").joinpath("static")
    # Compared with what is there, so that no spelling of a path leads anywhere else.
    found = next((each for each in folder.iterdir() if each.name == name), None)
    kind = _TYPES.get(name[name.rfind(".") :])
    if found is None or kind is None:
        return PlainTextResponse("There is no such file.", 404)
    return Response(found.read_bytes(), media_type=kind, headers={"cache-control": "no-cache"})


def _reading(request: Request) -> int:
    reading = _whole(request.query_params.get("reading", "1"))
    if reading not in READINGS:
        raise AnswerError(f"There is no reading {reading}.")
    return reading


def _whole(text: str) -> int:
    """A whole number of at most nine digits, perhaps negative."""
    if not (text.removeprefix("-").isascii() and text.removeprefix("-").isdigit() and len(text) <= 10):
        raise AnswerError(f"{text[:20]!r} is no whole number.")
    return int(text)


def _share(text: str) -> float:
    try:
        return float(text) / 100
    except ValueError:
        raise AnswerError("The share is a number of percent.") from None


def _choices(desk: Desk) -> dict[str, Any]:
    return {"kinds": kinds_offered(desk.shelf), "bodies": BODIES, "bases": BASES, "unaided": UNAIDED}


def _environment(words: Mapping[str, str]) -> jinja2.Environment:
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("cli.review", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.globals.update(w=words)
    return environment
