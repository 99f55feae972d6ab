"""The supervisor's page: who sees it, what opens a second reading, and its numbers against pairs counted by hand."""

from __future__ import annotations

import html
import re
from pathlib import Path

import pytest
from made_desk import act, desk_of, made_folder, speck
from review_client import KEY, Page, client_of, sentence_of
from scored_folder import Made
from starlette.testclient import TestClient

from cli.review.desk import Desk


class TestTheSupervisor:
    def test_needs_the_key(self, own: Desk) -> None:
        client = client_of(own)
        for key in ("wrong", KEY[:-1], KEY + "x", KEY.upper(), "é", "%ff"):
            for answer in (
                client.get(f"/supervisor/{key}"),
                client.post(f"/supervisor/{key}", data={"share": "50", "by": "Lea"}),
            ):
                assert answer.status_code == 403
                assert "not the supervisor's link" in sentence_of(answer)
        assert client.get("/supervisor/").status_code == 404
        assert own.second_readings() == []
        assert client.get("/opening").json()["readings"] == [1]

    @pytest.mark.parametrize(
        "form",
        [{"share": share, "by": "Lea"} for share in ("0", "-5", "101", "nan", "inf", "1e400", "x", "", "20%", "0x10")]
        + [{"share": "20", "by": by} for by in ("", " ", "x" * 81, "a\x00")]
        + [{}, {"by": "Lea"}, {"share": "20"}],
    )
    def test_a_form_that_can_not_be_meant(self, client: TestClient, desk: Desk, form: dict[str, str]) -> None:
        answer = client.post(
            f"/supervisor/{KEY}", data=form, headers={"content-type": "application/x-www-form-urlencoded"}
        )
        assert answer.status_code == 400
        sentence_of(answer)
        assert answer.headers["content-type"].startswith("text/plain"), "a browser shows it as it is"
        assert desk.second_readings() == []

    def test_opens_a_second_reading_once(self, own: Desk) -> None:
        client = client_of(own)
        assert "There is no second reading yet." in Page(client.get(f"/supervisor/{KEY}").text).text
        for share, by in (("40", "Lea"), ("90", "Max")):
            page = Page(client.post(f"/supervisor/{KEY}", data={"share": share, "by": by}).text)
            assert "Lea asked for 40% of the flags to be read twice" in page.text
            assert not [tag for tag, _ in page.elements if tag == "form"]
        assert client.get("/opening").json()["readings"] == [1, 2, 3]
        assert [(each.share, each.by) for each in own.second_readings()] == [(0.4, "Lea")]

    def test_comes_in_by_the_key_where_a_desk_is_shared(self, shared: TestClient) -> None:
        assert shared.get("/supervisor/wrong").status_code == 403
        assert shared.get("/static/desk.css").status_code == 403
        answer = shared.get(f"/supervisor/{KEY}")
        assert answer.status_code == 200
        assert "httponly" in answer.headers["set-cookie"].lower()
        assert shared.get("/static/desk.css").status_code == 200

    def test_numbers_by_hand(self, tmp_path: Path) -> None:
        made = Made("tray.jpg", 42)
        # First and second reader's kind of the flags in order; '' is no insect, '?' an insect without a kind.
        pairs = [("aphid", "aphid")] * 15 + [("aphid", "Aphid")] + [("aphid", "thrips")] * 3 + [("aphid", "")] * 2
        pairs += [("", "aphid")] * 4 + [("thrips", "thrips")] * 2 + [("?", "?")] + [("", "")] * 9
        with desk_of(made_folder(tmp_path, [made])) as desk:
            client = client_of(desk)
            client.post(f"/supervisor/{KEY}", data={"share": "100", "by": "Lea"})
            for number, pair in enumerate(pairs, start=1):
                for reading, (reader, kind) in enumerate(zip(("Ida", "Jon"), pair, strict=True), start=1):
                    fields = {"answer": "insect", "kind": kind.strip("?")} if kind else {"answer": "not_insect"}
                    desk.answer(act(speck(desk, number, "tray.jpg"), reviewer=reader, reading=reading) | fields)
            # One that only the first has answered, one that waits for another look, three without any answer.
            desk.answer(act(speck(desk, 38, "tray.jpg")))
            for reading, (reader, answer) in enumerate((("Ida", "insect"), ("Jon", "look_again")), start=1):
                desk.answer(act(speck(desk, 39, "tray.jpg"), answer, reader, reading=reading))
            # The third reader settles one on which two kinds stand and one of the six on which insect stands against none.
            desk.answer(act(speck(desk, 17, "tray.jpg"), "insect", "Kim", reading=3, kind="thrips"))
            desk.answer(act(speck(desk, 20, "tray.jpg"), "not_insect", "Kim", reading=3))
            told = terms(client.get(f"/supervisor/{KEY}").text)
            text = Page(client.get(f"/supervisor/{KEY}").text).text
        assert len(pairs) == 37
        assert told["Open, or waiting for another look"] == "4"
        assert told["Read once, as asked"] == "0"
        assert told["Waiting for the second reading"] == "1"
        assert told["Two readings agree"] == str(16 + 2 + 1 + 9)
        assert told["Two readings differ; a third decides"] == str(3 + 2 + 4 - 2)
        assert told["Decided by the third reading"] == "2"
        assert "37 flags were answered twice." in text
        # Insect or not: both 22, first alone 2, second alone 4, neither 9.
        assert told["Same answer"].startswith(f"{31 / 37:.2f} (95% interval 0.")
        assert told["Kappa, insect or not"].startswith(f"{kappa(22, 2, 4, 9):.2f} (95% interval ")
        # Aphid: both 16, first alone 3 + 2, second alone 4, neither 2 + 1 + 9.
        assert told["Kappa of aphid against the rest"].startswith(f"{kappa(16, 5, 4, 12):.2f} (95% interval ")
        # Thrips: on five alone.
        assert told["Kappa of thrips against the rest"] == (
            "not told: only 5 flags have this kind, and below 20 the interval would mislead"
        )
        assert [name for name in told if name.startswith("Kappa of")] == [
            "Kappa of aphid against the rest",
            "Kappa of thrips against the rest",
        ]

    def test_of_one_pair_there_is_a_figure_without_certainty(self, own: Desk) -> None:
        client = client_of(own)
        own.begin_second(1.0, "Lea")
        for reader, reading in (("Ida", 1), ("Jon", 2)):
            own.answer(act(speck(own), reviewer=reader, reading=reading))
        page = client.get(f"/supervisor/{KEY}").text
        assert "1 flag was answered twice." in Page(page).text
        assert terms(page)["Kappa, insect or not"] == "not defined: too few answers, or all alike"

    def test_what_a_person_types_as_a_kind_is_one(self, own: Desk) -> None:
        own.begin_second(1.0, "Lea")
        for reader, reading in (("Ida", 1), ("Jon", 2)):
            own.answer(act(speck(own), reviewer=reader, reading=reading, kind="not_insect"))
        assert "Kappa of not_insect against the rest" in terms(client_of(own).get(f"/supervisor/{KEY}").text)


def kappa(both: int, first: int, second: int, neither: int) -> float:
    """Cohen's kappa of two by two counts."""
    n = both + first + second + neither
    chance = ((both + first) * (both + second) + (neither + first) * (neither + second)) / n**2
    return ((both + neither) / n - chance) / (1 - chance)


def terms(source: str) -> dict[str, str]:
    """The page's lists as names and figures."""
    parts = re.findall(r"<div><dt>(.*?)</dt><dd>(.*?)</dd></div>", source)
    return {html.unescape(name): html.unescape(figure) for name, figure in parts}
