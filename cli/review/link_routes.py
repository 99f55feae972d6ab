"""The page on marks of one animal behind the desk's socket."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from urllib.parse import urlencode

import jinja2
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from cli.review.answers import AnswerError, WrongDesk
from cli.review.desk import Desk
from cli.review.form_body import typed_of
from cli.review.guard import LOTS
from cli.review.link_acts import Act, enter
from cli.review.link_page import OFFER, Again, link_told
from cli.review.pictures import PictureTrouble

PATH = f"{LOTS}/link"


def link_routes(desk: Desk, words: Mapping[str, str], pages: jinja2.Environment) -> list[Route]:
    """Its two routes: the page, and what its forms send."""

    def shown(lot: str, by: str, status: int = 200, trouble: str = "", again: Again | None = None) -> Response:
        told = link_told(desk, words, lot, by, again)
        page = pages.get_template("link.html.j2")
        # Each form has a token of its own, so that sent twice it stands once.
        return HTMLResponse(
            page.render(
                told=told,
                trouble=trouble,
                token=lambda: secrets.token_hex(12),
                lots_address=LOTS,
                base="",
                opening=desk.opening(),
            ),
            status,
        )

    def page(request: Request) -> Response:
        query = request.query_params
        if "lot" not in query:
            return RedirectResponse(LOTS, 303)
        return shown(query["lot"], query.get("by", "").strip())

    async def act(request: Request) -> Response:
        return await run_in_threadpool(done, request.headers["content-type"], await request.body())

    def done(kind: str, body: bytes) -> Response:
        typed = typed_of(kind, body)
        # A lot's name is taken as it is: spaces are part of it.
        lot, ticked = typed.whole("lot"), typed.every("mark")
        by, run, token, what, card, form = (typed.one(name) for name in ("by", "run", "token", "act", "card", "form"))
        try:
            enter(desk, Act(lot, by, run, token, what, ticked, card, form.startswith(OFFER)), words)
        except (AnswerError, WrongDesk, PictureTrouble) as error:
            status = {WrongDesk: 421, PictureTrouble: 409}.get(type(error), 400)
            trouble = words[f"trouble.{error}"] if isinstance(error, PictureTrouble) else str(error)
            return shown(lot, by, status, trouble, Again(form, frozenset(ticked), card))
        # The offer after an answered one takes its place.
        place = form if form.startswith(OFFER) else "said"
        return RedirectResponse(f"{PATH}?{urlencode({'lot': lot, 'by': by})}#{place}", 303)

    return [Route(PATH, page), Route(PATH, act, methods=["POST"])]
