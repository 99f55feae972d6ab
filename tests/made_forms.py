"""Forms of the pages of lots as a browser sends them, and what stands in the pages that answer. Invented, of Quillmere House."""

from __future__ import annotations

import re
from typing import Any

from httpx import Response
from made_desk import shot_of
from review_client import BASE, KEY, Page
from starlette.testclient import TestClient
from test_house import forbidden

from cli.review.desk import Desk

ORIGIN = {"origin": BASE}
LEAD = f"/supervisor/{KEY}"
LOT = "L-17"
"""Of the made shots; invented, of the kitchen of Quillmere House."""
SENT: dict[str, dict[str, Any]] = {
    "sampled": {
        "sample": "1",
        "pieces": "12",
        "grams": "340,5",
        "grams_are": "drained",
        "check": "1",
        "look": "first",
        "on": "2026-03-04",
    },
    "lot_of": {"pieces": "40"},
    "removed": {"sample": "1", "piece": "", "what": "outer leaves\r\npeeled", "whole": "yes"},
    "detection": {"assumed": "", "seen": "18", "put_in": "20"},
    "correction": {"shot_sha256": "", "field": "sample", "value": "3"},
    "late_entry": {
        "sample": "2",
        "pieces": "10",
        "day": "2026-03-03",
        "time": "21:10",
        "offset": "+01:00",
        "checker": "Jon",
        "check": "1",
        "note": "By lamp.",
        "kind_1": "Aphid",
        "body_1": "whole",
        "least_1": "2",
        "piece_1": "4",
        "body_12": "colony",
        "least_12": "30",
        "most_12": "50",
    },
    "decision": {
        "text": "Back to the gardener",
        "decided_by": "Odile Farrow-Quill (invented)",
        "late": "yes",
        "day": "2026-03-04",
        "time": "15:00",
        "offset": "+01:00",
    },
}


def sent(form: str, token: str = "t", desk: Desk | None = None, **more: Any) -> dict[str, Any]:
    """What a browser sends for a form."""
    shot = {"shot_sha256": shot_of(desk).sha256} if form == "correction" and desk else {}
    return {"lot": LOT, "form": form, "token": token, "by": "Ida"} | SENT.get(form, {}) | shot | more


def post(client: TestClient, fields: dict[str, Any], base: str = "", page: str = "one", **more: Any) -> Response:
    return client.post(f"{base}/lots/{page}", data=fields, headers=ORIGIN, **more)


def text_of(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, answer.text
    return Page(answer.text).text


def alert_of(answer: Response) -> str:
    """The one sentence beside a form that was refused."""
    found = re.findall(r'role="alert"[^>]*>(.*?)</p>', answer.text)
    assert len(found) == 1, found
    said = Page(found[0]).text
    assert said.endswith(".")
    assert forbidden(said) == []
    return said


def typed_in(answer: Response) -> dict[str, str]:
    """What stands in the fields of the form that was refused."""
    form = next(part for part in answer.text.split("<details")[1:] if 'role="alert"' in part)
    fields = {a["name"]: a.get("value", "") for tag, a in Page(form).elements if tag == "input" and "name" in a}
    return fields | {
        name: Page(value).text
        for name, value in re.findall(r'<textarea[^>]* name="(\w+)"[^>]*>(.*?)</textarea>', form, re.DOTALL)
    }
