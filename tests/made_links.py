"""A desk on a lot with confirmed insects, and what the page on marks of one animal shows and takes. Invented: Quillmere House."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode

from httpx import Response
from made_desk import act, desk_of, made_folder, shot_of, speck
from review_client import BASE, Page, client_of
from scored_folder import Made
from starlette.testclient import TestClient

from cli.lots.entries import Link
from cli.review.desk import Desk

LOT = "Quillmere 7"
SHOTS = (
    Made("under.jpg", 2, lot=LOT, piece="1", view="underside", seed=3),
    Made("open.jpg", 3, lot=LOT, piece="1", view="opened", seed=4),
    Made("water.jpg", 1, lot=LOT, sample="2", view="water", seed=5),
)
FORM = {"content-type": "application/x-www-form-urlencoded", "origin": BASE}


@contextmanager
def answered(tmp_path: Path) -> Iterator[Desk]:
    """A desk on three photographs of one lot: insects are flag 1 of each, and flag 2 of the piece opened."""
    with desk_of(made_folder(tmp_path, SHOTS)) as desk:
        for name in ("under.jpg", "open.jpg", "water.jpg"):
            desk.answer(act(speck(desk, 1, name), kind="aphid", body="whole"))
        desk.answer(act(speck(desk, 2, "open.jpg"), kind="thrips", body="whole"))
        desk.answer(act(speck(desk, 3, "open.jpg"), "not_insect"))
        yield desk


def key(desk: Desk, name: str, number: int = 1) -> str:
    return f"{shot_of(desk, name).sha256}:{number}"


def shown(desk: Desk, lot: str = LOT, by: str = "Ida") -> Page:
    answer = client_of(desk).get("/lots/link", params={"lot": lot, "by": by})
    assert answer.status_code == 200
    return Page(answer.text)


def sent(desk: Desk, *marks: str, act: str = "one", client: TestClient | None = None, **more: str) -> Response:
    """A form of the page, as a browser sends it."""
    fields = {"lot": LOT, "by": "Ida", "run": desk.shelf.run, "form": "offer-1", "token": "t0k3n", "act": act} | more
    body = urlencode([*fields.items(), *(("mark", each) for each in marks)])
    return (client or client_of(desk)).post("/lots/link", content=body, headers=FORM)


def links(desk: Desk) -> list[tuple[set[str], str]]:
    """Names of the marks of each link in the record, and its card."""
    names = {s: f"{desk.shelf.by_sha256[s.shot_sha256].name}/{s.candidate}" for s in desk.shelf.flags}
    values = [each.value for each in desk.store.entries()]
    return [({names[s] for s in each.specks}, each.card) for each in values if isinstance(each, Link)]


def trouble(answer: Response) -> str:
    """The sentence that a page shows because a form was not taken."""
    found = re.findall(r'role="alert">([^<]+)<', answer.text)
    assert len(found) == 1
    assert found[0].endswith(".")
    return str(found[0])
