"""Who may ask a desk, and what every answer of it forbids a browser."""

from __future__ import annotations

import json
from collections.abc import Iterator

import pytest
from httpx import Response
from made_desk import act, drawn_line, shot_of, speck
from review_client import BASE, JSON, KEY, PORT, SECRET, client_of, raises, sentence_of
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from cli.review.desk import Desk
from cli.review.guard import COOKIE, LARGEST_BODY
from cli.review.store import StoreError
from vision.errors import DiskFull

HEADERS: list[tuple[dict[str, str], int]] = [
    ({}, 200),
    ({"host": f"LOCALHOST:{PORT}"}, 200),
    ({"host": f"evil.example:{PORT}"}, 403),
    ({"host": f"127.0.0.1:{PORT}.evil.example"}, 403),
    ({"host": "127.0.0.1"}, 403),
    ({"host": "127.0.0.1:80"}, 403),
    ({"host": f"127.0.0.2:{PORT}"}, 403),
    ({"host": f"[::1]:{PORT}"}, 403),
    ({"host": ""}, 403),
    ({"origin": BASE}, 200),
    ({"origin": f"http://localhost:{PORT}"}, 200),
    ({"origin": "https://evil.example"}, 403),
    ({"origin": f"https://127.0.0.1:{PORT}"}, 403),
    ({"origin": "http://127.0.0.1"}, 403),
    ({"origin": f"{BASE}.evil.example"}, 403),
    ({"origin": "null"}, 403),
    ({"origin": ""}, 403),
    ({"sec-fetch-site": "same-origin"}, 200),
    ({"sec-fetch-site": "none"}, 200),
    ({"sec-fetch-site": "same-site"}, 403),
    ({"sec-fetch-site": "cross-site"}, 403),
    ({"sec-fetch-site": "cross-site", "origin": BASE}, 403),
    ({"sec-fetch-site": "same-origin", "origin": "https://evil.example"}, 403),
    ({"sec-fetch-site": ""}, 403),
]
TYPES: list[tuple[dict[str, str], int]] = [
    ({"content-type": "application/json"}, 200),
    ({"content-type": "application/json; charset=utf-8"}, 200),
    ({"content-type": "Application/JSON ;charset=utf-8"}, 200),
    ({"content-type": "text/plain"}, 403),
    ({"content-type": "text/plain; application/json"}, 403),
    ({"content-type": "multipart/form-data; boundary=x"}, 403),
    ({"content-type": "application/x-www-form-urlencoded"}, 403),
    ({"content-type": ""}, 403),
    ({}, 403),
]


class TestWhoMayAsk:
    @pytest.mark.parametrize(("headers", "status"), HEADERS)
    def test_by_host_origin_and_site(
        self, client: TestClient, desk: Desk, headers: dict[str, str], status: int
    ) -> None:
        for path in ("/", "/opening", "/static/main.js", f"/supervisor/{KEY}"):
            answer = client.get(path, headers=headers)
            assert answer.status_code == status, path
            if status == 403:
                assert len(sentence_of(answer)) < 90
        posted = client.post("/answer", json=act(speck(desk)), headers=headers)
        assert posted.status_code == status

    @pytest.mark.parametrize(("headers", "status"), TYPES)
    def test_by_what_the_body_is(self, client: TestClient, desk: Desk, headers: dict[str, str], status: int) -> None:
        before = len(desk.said(1, 0)["said"])
        answer = client.post("/answer", content=json.dumps(act(speck(desk))), headers=headers)
        assert answer.status_code == status
        assert len(desk.said(1, 0)["said"]) == before + (status == 200)

    @pytest.mark.parametrize("method", ["OPTIONS", "PUT", "DELETE", "PATCH", "TRACE"])
    def test_no_other_method_does_anything(self, client: TestClient, method: str) -> None:
        asking = {"origin": "https://evil.example", "access-control-request-method": "POST"}
        for headers in ({}, JSON, asking, asking | JSON):
            for path in ("/", "/answer", "/add", f"/supervisor/{KEY}"):
                answer = client.request(method, path, headers=headers)
                assert answer.status_code in (403, 405)
                assert not [name for name in answer.headers if name.startswith("access-control")]

    def test_what_is_posted_can_not_be_got(self, client: TestClient) -> None:
        assert {client.get(path).status_code for path in ("/answer", "/add", "/looked")} == {405}

    def test_only_the_web(self, client: TestClient) -> None:
        with pytest.raises(WebSocketDisconnect) as refused, client.websocket_connect("/"):
            pass
        assert refused.value.code == 1008


def every_answer(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> Iterator[tuple[str, Response]]:
    """An answer of each route, and of each way in which one can fail."""
    client, shared = client_of(desk), client_of(desk, SECRET)
    sha256 = shot_of(desk).sha256
    good = {
        "page": "/",
        "script": "/static/main.js",
        "style": "/static/desk.css",
        "sign": "/static/mark.svg",
        "words": "/words",
        "opening": "/opening",
        "shots": "/shots?reading=1&reviewer=Ida",
        "said": "/said?reading=1&after=0",
        "sums": "/sums",
        "part": f"/part/{sha256}/0,0,64,64/1.jpg",
        "supervisor": f"/supervisor/{KEY}",
        "lots": "/lots",
        "lot": "/lots/one?lot=L-17",
        "lot's rule": f"/supervisor/{KEY}/lots/rule?lot=L-17",
        "rule's page": "/lots/rule/page?lot=L-17",
        "no such lot": "/lots/one?lot=%00",
        "no such path": "/nowhere",
        "no such file": "/static/nothing.js",
        "no such part": f"/part/{sha256}/900,0,64,64/1.jpg",
        "no such shot": f"/part/{'0' * 64}/0,0,64,64/1.jpg",
        "no such reading": "/shots?reading=7",
        "not a number": "/said?after=x",
        "wrong key": "/supervisor/wrong",
        "wrong method": "/answer",
    }
    for name, path in good.items():
        yield name, client.get(path)
    yield "head", client.head("/")
    yield "answer", client.post("/answer", json=act(speck(desk)))
    yield "add", client.post("/add", json=drawn_line(shot_of(desk)))
    look = {"shot_sha256": sha256, "run": desk.shelf.run, "reviewer": "Ida", "seconds": 1, "token": "look"}
    yield "looked", client.post("/looked", json=look)
    yield "wrong answer", client.post("/answer", json={})
    yield "too large", client.post("/answer", content=b"x" * (LARGEST_BODY + 1), headers=JSON)
    form = {"lot": "L-17", "form": "lot_of", "pieces": "40", "by": "Ida", "token": "entry"}
    yield "entry", client.post("/lots/one", data=form, headers={"origin": BASE})
    yield "wrong entry", client.post("/lots/one", data=form | {"by": ""}, headers={"origin": BASE})
    yield "entry from nowhere", client.post("/lots/one", data=form)
    yield "wrong share", client.post(f"/supervisor/{KEY}", data={"share": "x", "by": "Lea"})
    yield "other host", client.get("/", headers={"host": "evil.example"})
    yield "other site", client.get("/", headers={"sec-fetch-site": "cross-site"})
    yield "text", client.post("/answer", content=b"{}", headers={"content-type": "text/plain"})
    yield "no secret", shared.get("/")
    yield "wrong secret", shared.get("/enter/wrong")
    yield "secret", shared.get(f"/enter/{SECRET}")
    for name, error in (
        ("store", StoreError("The record can't be used.")),
        ("disk", DiskFull("The disk is full.")),
        ("fault", RuntimeError("fault")),
    ):
        with monkeypatch.context() as patched:
            patched.setattr(desk.store, "said", raises(error))
            yield name, client.get("/said")


EXPECTED = {
    "default-src": "'none'",
    "script-src": "'self'",
    "style-src": "'self'",
    "img-src": "'self'",
    "connect-src": "'self'",
    "base-uri": "'none'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}


class TestWhatABrowserIsTold:
    def test_on_every_answer_good_or_bad(self, desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
        statuses = {}
        for name, answer in every_answer(desk, monkeypatch):
            statuses[name] = answer.status_code
            policy = dict(part.strip().split(" ", 1) for part in answer.headers["content-security-policy"].split(";"))
            assert policy == EXPECTED, name
            assert answer.headers["x-content-type-options"] == "nosniff", name
            # With none at all a browser would send the supervisor's own form as from nowhere (Origin: null).
            assert answer.headers["referrer-policy"] == "same-origin", name
            assert answer.headers["cross-origin-opener-policy"] == "same-origin", name
            assert answer.headers["cross-origin-resource-policy"] == "same-origin", name
            assert answer.headers["permissions-policy"] == "camera=(), microphone=(), geolocation=()", name
            assert not [each for each in answer.headers if each.startswith("access-control") or each == "server"], name
            kept = {"script": "no-cache", "style": "no-cache", "sign": "no-cache"}
            kept["part"] = "private, max-age=86400, immutable"
            assert answer.headers["cache-control"] == kept.get(name, "no-store"), name
            assert ("set-cookie" in answer.headers) is (name == "secret"), name
            # A refused form comes back as its page, with the sentence beside it.
            if answer.status_code >= 400 and name not in ("no such path", "wrong method", "wrong entry"):
                sentence_of(answer)
        assert {name: status for name, status in statuses.items() if status != 200} == {
            "no such path": 404,
            "no such file": 404,
            "no such lot": 400,
            "no such part": 400,
            "no such shot": 404,
            "no such reading": 400,
            "not a number": 400,
            "wrong key": 403,
            "wrong method": 405,
            "wrong answer": 400,
            "too large": 413,
            "wrong share": 400,
            "entry": 303,
            "wrong entry": 400,
            "entry from nowhere": 403,
            "other host": 403,
            "other site": 403,
            "text": 403,
            "no secret": 403,
            "wrong secret": 403,
            "secret": 303,
            "store": 503,
            "disk": 507,
            "fault": 500,
        }

    def test_what_each_thing_is(self, client: TestClient, desk: Desk) -> None:
        part = f"/part/{shot_of(desk).sha256}/0,0,64,64/1.jpg"
        for path, kind in {
            "/": "text/html; charset=utf-8",
            "/static/main.js": "text/javascript; charset=utf-8",
            "/static/desk.css": "text/css; charset=utf-8",
            "/static/mark.svg": "image/svg+xml",
            "/opening": "application/json",
            "/words": "application/json",
            part: "image/jpeg",
        }.items():
            assert client.get(path).headers["content-type"] == kind


class TestTheSecretLink:
    def test_without_it_there_is_nothing_but_a_sentence(self, shared: TestClient, desk: Desk) -> None:
        part = f"/part/{shot_of(desk).sha256}/0,0,64,64/1.jpg"
        for path in ("/", "/static/main.js", "/words", "/opening", "/shots", "/said", "/sums", part, "/nowhere"):
            answer = shared.get(path)
            assert (answer.status_code, answer.text) == (
                403,
                "Open the secret link that the desk printed when it was opened last.",
            )
        assert shared.post("/answer", json=act(speck(desk))).status_code == 403

    def test_lets_the_browser_in(self, shared: TestClient) -> None:
        answer = shared.get(f"/enter/{SECRET}")
        assert (answer.status_code, answer.headers["location"]) == (303, "/")
        cookie, *attributes = [part.strip().lower() for part in answer.headers["set-cookie"].split(";")]
        assert cookie == f"{COOKIE}_{PORT}={SECRET}".lower()
        assert set(attributes) == {"httponly", "samesite=lax", "path=/"}
        assert SECRET not in answer.text
        assert shared.get("/").status_code == 200
        assert shared.get("/opening").status_code == 200

    def test_may_be_followed_from_a_letter_on_another_site(self, shared: TestClient) -> None:
        assert shared.get(f"/enter/{SECRET}", headers={"sec-fetch-site": "cross-site"}).status_code == 303
        assert shared.post(f"/enter/{SECRET}", json={}, headers={"sec-fetch-site": "cross-site"}).status_code == 403

    @pytest.mark.parametrize(
        "wrong", ["", "wrong", SECRET[:-1], SECRET + "x", SECRET + "/", SECRET.upper(), "%c3%a9", "%ff"]
    )
    def test_a_wrong_one_does_not(self, shared: TestClient, wrong: str) -> None:
        answer = shared.get(f"/enter/{wrong}")
        assert answer.status_code == 403
        assert "not the secret link" in sentence_of(answer)
        assert "set-cookie" not in answer.headers
        assert shared.get("/").status_code == 403

    @pytest.mark.parametrize(
        "cookie",
        [
            f"{COOKIE}_{PORT}=wrong",
            f"{COOKIE}_{PORT}=",
            f"{COOKIE}_{PORT + 1}={SECRET}",
            f"{COOKIE}={SECRET}",
            f"other={SECRET}",
            SECRET,
            f'{COOKIE}_{PORT}="{SECRET}\\"',
            "=;,\x7f;;" + "x" * 500,
        ],
    )
    def test_no_other_cookie_does(self, shared: TestClient, cookie: str) -> None:
        assert shared.get("/opening", headers={"cookie": cookie}).status_code == 403

    def test_is_none_where_the_desk_is_not_shared(self, client: TestClient) -> None:
        for secret in ("", SECRET):
            assert client.get(f"/enter/{secret}").status_code == 404
