"""The desk behind a socket: its pages, what a request may hold, paths, and what goes wrong as a status and a sentence."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from made_desk import act, add_entries, desk_of, drawn_line, failed, made_folder, shot_of, speck
from review_client import JSON, KEY, Page, client_of, raises, raw, sentence_of
from scored_folder import Made
from starlette.testclient import TestClient

from cli.review.answers import AnswerError
from cli.review.desk import Desk
from cli.review.guard import LARGEST_BODY
from cli.review.store import StoreError
from cli.review.words import catalogue
from vision.errors import DiskFull, SpeckwiseError


@pytest.mark.parametrize("path", ["/", f"/supervisor/{KEY}"])
class TestThePages:
    def test_hold_no_script_and_no_style(self, client: TestClient, path: str) -> None:
        page = Page(client.get(path).text)
        assert page.scripted.strip() == ""
        tags = {tag for tag, _ in page.elements}
        assert not tags & {"style", "iframe", "object", "embed", "base"}
        for tag, attributes in page.elements:
            assert not [name for name in attributes if name == "style" or name.startswith("on")], tag
            assert tag != "script" or attributes["src"]

    def test_ask_this_desk_alone(self, client: TestClient, path: str) -> None:
        page = Page(client.get(path).text)
        asked = [
            attributes[name]
            for _, attributes in page.elements
            for name in ("src", "href", "action", "srcset", "poster", "formaction")
            if name in attributes
        ]
        assert asked
        for address in asked:
            assert address.startswith(("/static/", "#", "/lots", f"/supervisor/{KEY}/lots"))
            assert address.startswith("#") or client.get(address).status_code == 200

    def test_say_no_more_of_where_one_comes_from_than_the_header(self, client: TestClient, path: str) -> None:
        answer = client.get(path)
        metas = [attributes for tag, attributes in Page(answer.text).elements if tag == "meta"]
        policies = [each["content"] for each in metas if each.get("name") == "referrer"]
        assert policies == [answer.headers["referrer-policy"]]
        assert not [each for each in metas if "http-equiv" in each]

    def test_each_id_stands_once(self, client: TestClient, path: str) -> None:
        page = Page(client.get(path).text)
        ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
        assert len(ids) == len(set(ids))
        for _, attributes in page.elements:
            for name in ("for", "aria-labelledby", "aria-describedby"):
                assert attributes.get(name, ids[0] if ids else "") in [*ids, ""]


def test_scripts_and_styles_ask_this_desk_alone(client: TestClient) -> None:
    """And no script makes elements from text."""
    folder = Path(__file__).parent.parent / "cli/review/static"
    for path in sorted(folder.iterdir()):
        source = client.get(f"/static/{path.name}").text
        assert source == path.read_text(encoding="utf-8")
        if path.suffix != ".svg":
            assert "http:" not in source.replace("http://www.w3.org/2000/svg", "")
        for word in (
            "https:",
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "@import",
            "url(",
        ):
            assert word not in source


class TestWhatARequestMayHold:
    def test_up_to_a_bound(self, client: TestClient, desk: Desk) -> None:
        before = len(desk.said(1, 0)["said"])
        body = json.dumps(act(speck(desk))).encode()
        fits = body + b" " * (LARGEST_BODY - len(body))
        assert client.post("/answer", content=fits, headers=JSON).status_code == 200
        answer = client.post("/answer", content=fits + b" ", headers=JSON)
        assert (answer.status_code, answer.text) == (413, "The request is too large.")
        assert len(desk.said(1, 0)["said"]) == before + 1

    def test_also_where_it_does_not_say_how_long_it_is(self, client: TestClient, desk: Desk) -> None:
        def chunks(count: int) -> Iterator[bytes]:
            yield json.dumps(act(speck(desk))).encode()
            for _ in range(count):
                yield b" " * 1000

        assert client.post("/answer", content=chunks(10), headers=JSON).status_code == 200
        for path in ("/answer", "/add", "/looked", "/nowhere"):
            assert client.post(path, content=chunks(70), headers=JSON).status_code == 413
        form = {"content-type": "application/x-www-form-urlencoded"}
        assert client.post(f"/supervisor/{KEY}", content=chunks(70), headers=form).status_code == 413

    @pytest.mark.parametrize(
        "body",
        [
            b"",
            b"{",
            b"[]",
            b"null",
            b"1",
            b'"answer"',
            b"\xff\xfe",
            b'{"answer": "\xff"}',
            b"[" * 60_000,
            b'{"a":' * 12_000,
            b"1" * 5000,
            b'{"candidate": ' + b"9" * 5000 + b"}",
            b'{"least": NaN}',
            b'{"least": Infinity}',
            b'{"answer": "insect", "answer": "not_insect"}',
            b'{"ring": {"x_px": 1, "x_px": 2}}',
        ],
    )
    def test_what_is_no_json_object(self, client: TestClient, body: bytes) -> None:
        for path in ("/answer", "/add", "/looked"):
            answer = client.post(path, content=body, headers=JSON)
            assert answer.status_code == 400
            assert "no JSON" in sentence_of(answer)

    @pytest.mark.parametrize(
        "wrong",
        [
            {"candidate": 10**30},
            {"candidate": -1},
            {"candidate": 1.0},
            {"candidate": "1"},
            {"candidate": True},
            {"candidate": None},
            {"reading": 10**30},
            {"reading": 4},
            {"reading": "1"},
            {"reading": 2},
            {"reviewer": ""},
            {"reviewer": 5},
            {"reviewer": "a\u0000b"},
            {"reviewer": "a\ud800"},
            {"reviewer": "x" * 81},
            {"reviewer": ["Ida"]},
            {"answer": "perhaps"},
            {"answer": None},
            {"note": "x" * 2001},
            {"note": {"a": 1}},
            {"kind": "x" * 81},
            {"body": "colony"},
            {"body": "colony", "least": 0, "most": 1},
            {"body": "colony", "least": 5, "most": 4},
            {"body": "colony", "least": 1, "most": 10**30},
            {"body": "colony", "least": 1, "most": 2, "ring": {"x_px": 1e999, "y_px": 1, "radius_px": 1}},
            {"body": "colony", "least": 1, "most": 2, "ring": {"x_px": 1, "y_px": 1, "radius_px": 10**400}},
            {"body": "colony", "least": 1, "most": 2, "ring": [1, 2, 3]},
            {"token": ""},
            {"token": "x" * 81},
            {"shot_sha256": "0" * 64},
            {"shot_sha256": 7},
            {"score": 0.5},
            {"told": None},
        ],
    )
    def test_an_answer_that_can_not_be_meant(self, client: TestClient, desk: Desk, wrong: dict[str, Any]) -> None:
        before = len(desk.said(1, 0)["said"])
        body = json.dumps(act(speck(desk)) | wrong).replace("Infinity", "1e999")
        answer = client.post("/answer", content=body, headers=JSON)
        assert answer.status_code == 400
        sentence_of(answer)
        assert len(desk.said(1, 0)["said"]) == before

    @pytest.mark.parametrize(
        "wrong", ['"x_px": 1e999', '"angle_deg": 1e999', '"length_px": 1' + "0" * 400, '"reviewer": null']
    )
    def test_an_added_speck_that_can_not_be_meant(self, client: TestClient, desk: Desk, wrong: str) -> None:
        name = wrong.split('"')[1]
        fields = {key: value for key, value in drawn_line(shot_of(desk)).items() if key != name}
        answer = client.post("/add", content=json.dumps(fields)[:-1] + f", {wrong}}}", headers=JSON)
        assert answer.status_code == 400
        sentence_of(answer)

    @pytest.mark.parametrize(
        "reading", ["0", "4", "-1", "x", "", "1.0", "1e0", "9" * 40, "²", "٢", "1,2", "NaN", "%00", "+1"]
    )
    def test_a_reading_that_there_is_none_of(self, client: TestClient, reading: str) -> None:
        for path in ("/shots", "/said", "/sums"):
            answer = client.get(f"{path}?reading={reading}")
            assert answer.status_code == 400, path
            sentence_of(answer)

    def test_what_belongs_to_another_run_is_told_apart(self, client: TestClient, desk: Desk) -> None:
        answer = client.post("/answer", json=act(speck(desk)) | {"run": "r000000000000"})
        assert answer.status_code == 421
        assert "r000000000000" in sentence_of(answer)

    def test_an_odd_name_of_a_reader(self, client: TestClient) -> None:
        for name in ("", "%00", "x" * 3000, "%20"):
            answer = client.get(f"/shots?reviewer={name}")
            assert answer.status_code == 400
            sentence_of(answer)
        # What is no UTF-8 is shown as such; markup is text.
        for name in ("%ff", "%ed%a0%80", "<b>"):
            assert client.get(f"/shots?reviewer={name}").status_code == 200


class TestPaths:
    @pytest.mark.parametrize(
        "name",
        [
            "../desk.py",
            "..\\desk.py",
            "..\\..\\..\\pyproject.toml",
            "../words/en.toml",
            "../../../../../etc/passwd",
            "/etc/passwd",
            "C:\\Windows\\win.ini",
            "\\\\server\\share\\a.js",
            "./main.js",
            "main.js/",
            "main.js\x00",
            "main.js\x00.css",
            "MAIN.JS",
            "main.js ",
            ".",
            "..",
            "",
            "%2e%2e/desk.py",
            "__init__.py",
            "*.js",
        ],
    )
    def test_lead_nowhere_but_to_what_is_there(self, desk: Desk, name: str) -> None:
        status, body = raw(desk, f"/static/{name}")
        assert status in (307, 404)
        assert body in (b"There is no such file.", b"Not Found", b"")

    def test_encoded_ones_neither(self, client: TestClient) -> None:
        for name in (
            "%2e%2e%2fdesk.py",
            "..%2fdesk.py",
            "%2e%2e%5cdesk.py",
            "..%5cdesk.py",
            "%2fetc%2fpasswd",
            "%252e%252e",
        ):
            assert client.get(f"/static/{name}").status_code == 404

    @pytest.mark.parametrize(
        "where",
        [
            "0,0,0,0/1",
            "0,0,-5,5/1",
            "600,0,5,5/1",
            "-5,-5,5,5/1",
            "0,0,9,9/0",
            "0,0,9,9/-1",
            "0,0,9999,9999/1",
            "0,0,999999999999,9/1",
            f"0,0,{'9' * 400},9/1",
            "a,0,9,9/1",
            "1e1,0,9,9/1",
            "0x1,0,9,9/1",
            "+1,0,9,9/1",
            " 1,0,9,9/1",
            "1_0,0,9,9/1",
            "٣,0,9,9/1",
            "1.5,0,9,9/1",
            "nan,0,9,9/1",
            "--1,0,9,9/1",
            "-,0,9,9/1",
            "0,0,9,9,9/1",
            "0,0,9,9/1.0",
        ],
    )
    def test_silly_parts(self, desk: Desk, where: str) -> None:
        status, body = raw(desk, f"/part/{shot_of(desk).sha256}/{where}.jpg")
        assert status == 400
        assert json.loads(body)["error"].endswith(".")

    @pytest.mark.parametrize("where", ["0,0,9/1.jpg", "0,0,9,9/1.png", "0,0,9,9/1", ",,,/.jpg", "0,0,9,9/../1.jpg", ""])
    def test_no_parts_at_all(self, desk: Desk, where: str) -> None:
        assert raw(desk, f"/part/{shot_of(desk).sha256}/{where}")[0] == 404

    @pytest.mark.parametrize("sha256", ["..", "../../pictures", "\\..\\", "0" * 64, "*", "", "\x00", "'; --"])
    def test_parts_of_no_shot(self, desk: Desk, sha256: str) -> None:
        assert raw(desk, f"/part/{sha256}/0,0,9,9/1.jpg")[0] == 404

    def test_a_huge_box_far_out_is_what_lies_in_it(self, client: TestClient, desk: Desk) -> None:
        answer = client.get(f"/part/{shot_of(desk).sha256}/-99999999,-99999999,999999999,999999999/999999.jpg")
        assert answer.status_code == 200
        assert answer.content.startswith(b"\xff\xd8")


class TestTrouble:
    def test_of_a_picture_is_said(self, own: Desk) -> None:
        client = client_of(own)
        next((own.shelf.folder / "pictures").glob("tray 1*")).unlink()
        sentence = catalogue()["trouble.picture_missing"]
        for answer in (
            client.get(f"/part/{shot_of(own).sha256}/0,0,64,64/1.jpg"),
            client.post("/answer", json=act(speck(own))),
            client.post("/add", json=drawn_line(shot_of(own))),
        ):
            assert answer.status_code == 409
            assert answer.json() == {"error": sentence, "trouble": "picture_missing"}

    @pytest.mark.parametrize(
        ("error", "status"),
        [
            (AnswerError("That can't be meant."), 400),
            (StoreError("The record can't be used: it is locked."), 503),
            (DiskFull("The disk is full: the answer could not be kept."), 507),
            (SpeckwiseError("Something is wrong."), 500),
            (MemoryError(), 500),
            (OSError(28, "No space left on device"), 500),
            (ValueError("'utf-8' codec can't encode"), 500),
            (KeyError("fault"), 500),
        ],
    )
    def test_of_the_record_is_a_status_and_a_sentence(
        self, client: TestClient, desk: Desk, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int
    ) -> None:
        monkeypatch.setattr(desk.store, "add_answer", raises(error))
        answer = client.post("/answer", json=act(speck(desk)))
        assert answer.status_code == status
        said = sentence_of(answer)
        assert said == str(error) or not isinstance(error, SpeckwiseError)


MARKUP = "<img src=x onerror=alert(1)>&amp;\"'\u202e.jpg"


class TestMarkupStaysText:
    def test_in_names_and_notes(self, tmp_path: Path) -> None:
        folder = made_folder(tmp_path, [Made(MARKUP, 2, lot="<b>L</b>", sample="</script>")])
        add_entries(folder, failed(Made("</title>.jpg", seed=3), "<i>This is not a picture.</i>"))
        with desk_of(folder) as desk:
            client = client_of(desk)
            note = "</textarea><script>alert(1)</script>"
            reply = client.post("/answer", json=act(speck(desk, 1, MARKUP), note=note, kind="<u>fly</u>"))
            assert (reply.json()["note"], reply.json()["kind"]) == (note, "<u>fly</u>")
            for path in ("/opening", "/shots?reviewer=Ida", "/said", "/sums"):
                answer = client.get(path)
                assert answer.headers["content-type"] == "application/json"
            shot = client.get("/shots?reviewer=Ida").json()["shots"][0]
            assert (shot["name"], shot["facts"]["lot"]) == (MARKUP, "<b>L</b>")
            assert client.get("/opening").json()["failed"] == {"</title>.jpg": "<i>This is not a picture.</i>"}
            assert "alert(1)" not in client.get("/").text

    def test_on_the_supervisor_s_page(self, own: Desk) -> None:
        client = client_of(own)
        by = "<script>alert(1)</script>"
        page = client.post(f"/supervisor/{KEY}", data={"share": "100", "by": by}).text
        for reader, reading in (("Ida", 1), ("Jon", 2)):
            client.post("/answer", json=act(speck(own), reviewer=reader, reading=reading, kind="<b>fly</b>"))
        page = client.get(f"/supervisor/{KEY}").text
        shown = Page(page)
        assert by in shown.text
        assert "Kappa of <b>fly</b> against the rest" in shown.text
        assert not {tag for tag, _ in shown.elements} & {"script", "b"}
