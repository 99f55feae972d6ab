"""What the forms on marks of one animal put into the record, and who may send them.

The lots are invented: the kitchen of Quillmere House.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import pytest
from made_desk import shot_of
from made_links import FORM, LOT, answered, key, links, sent, shown, trouble
from review_client import BASE, KEY, SECRET, Page, client_of

from cli.lots.entries import Entered, Link
from cli.review.answers import SpeckId
from cli.review.desk import Desk
from cli.review.guard import LARGEST_FORM


@pytest.fixture
def lot(tmp_path: Path) -> Iterator[Desk]:
    """A desk on three photographs of one lot: insects are flag 1 of each, and flag 2 of the piece opened."""
    with answered(tmp_path) as desk:
        yield desk


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Desk]:
    """The same, one for all tests after which nothing is in the record that was not before."""
    with answered(tmp_path_factory.mktemp("still")) as desk:
        yield desk


class TestForms:
    def test_one_animal(self, lot: Desk) -> None:
        answer = sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"))
        assert answer.status_code == 303
        assert answer.headers["location"] == "/lots/link?lot=Quillmere+7&by=Ida#offer-1"
        assert links(lot) == [({"under.jpg/1", "open.jpg/1"}, "")]
        page = shown(lot)
        assert "If the same: 3, if different: 3." in page.text
        assert "By Ida, 20" in page.text
        assert "No two marks are offered" in page.text

    def test_different_animals(self, lot: Desk) -> None:
        assert sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"), act="apart").status_code == 303
        assert links(lot) == [({"open.jpg/1"}, ""), ({"under.jpg/1"}, "")]
        assert "If the same: 4, if different: 4." in shown(lot).text

    def test_a_form_that_is_sent_twice_stands_once(self, lot: Desk) -> None:
        for what in ("one", "apart"):
            for _ in range(2):
                answer = sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"), act=what, token=f"t-{what}")
                assert answer.status_code == 303
        assert len(lot.store.entries()) == 3
        # Gone back to, the page holds the token of before; another act, or other marks, are none that were kept.
        for what, marks in (("apart", ("under.jpg", "open.jpg")), ("one", ("under.jpg", "water.jpg"))):
            answer = sent(lot, *(key(lot, name) for name in marks), act=what, token="t-one")
            assert "kept before" in trouble(answer)
        again = sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"), token="t-one", card="4")
        assert "kept before" in trouble(again)
        assert len(lot.store.entries()) == 3
        assert {each.by for each in lot.store.entries()} == {"Ida"}
        assert {each.lot for each in lot.store.entries()} == {LOT}

    def test_a_link_grows_and_is_undone(self, lot: Desk) -> None:
        pair = key(lot, "under.jpg"), key(lot, "open.jpg")
        sent(lot, *pair, card="4", token="a", form="sample-1")
        sent(lot, pair[0], key(lot, "open.jpg", 2), token="b", form="sample-1")
        assert links(lot)[-1] == ({"under.jpg/1", "open.jpg/1", "open.jpg/2"}, "4"), "with those linked before"
        assert "The find lies on card 4." in shown(lot).text
        sent(lot, key(lot, "open.jpg", 2), act="apart", token="c", form="group-1")
        assert links(lot)[-1] == ({"open.jpg/2"}, "")
        assert "If the same: 3, if different: 3." in shown(lot).text
        assert len(links(lot)) == 3, "nothing is taken out of the record"

    def test_linked_marks_stay_together_where_they_are_told_apart_from_a_third(self, lot: Desk) -> None:
        sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"), token="a")
        third = key(lot, "open.jpg", 2)
        sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"), third, act="apart", token="b")
        assert links(lot)[1:] == [({"open.jpg/2"}, "")]

    def test_marks_chosen_one_by_one_are_not_told_apart_in_part(self, lot: Desk) -> None:
        pair = key(lot, "under.jpg"), key(lot, "open.jpg")
        sent(lot, *pair, token="a")
        answer = sent(lot, *pair, key(lot, "open.jpg", 2), act="apart", token="b", form="sample-1")
        assert "separate these first" in trouble(answer)
        assert len(links(lot)) == 1

    def test_one_mark_with_its_card(self, lot: Desk) -> None:
        assert sent(lot, key(lot, "water.jpg"), card=" 4 ", form="sample-2").status_code == 303
        assert links(lot) == [({"water.jpg/1"}, "4")]

    @pytest.mark.parametrize(
        ("more", "status", "says"),
        [
            ({"by": " "}, 400, "needs the name"),
            ({"by": "x" * 81}, 400, "longer than"),
            ({"act": "other"}, 400, "load the page anew"),
            ({"act": ""}, 400, "load the page anew"),
            ({"token": ""}, 400, "load the page anew"),
            ({"token": "x" * 65}, 400, "load the page anew"),
            ({"run": "r000000000000"}, 421, "holds run"),
            ({"lot": "Quillmere 8"}, 400, "no longer answered"),
            ({"card": "x" * 201}, 400, "Tick two"),
            ({"card": "4\x00"}, 400, "control character"),
        ],
    )
    def test_what_can_not_be_meant(self, still: Desk, more: dict[str, str], status: int, says: str) -> None:
        answer = sent(still, key(still, "under.jpg"), key(still, "open.jpg"), **more)
        assert answer.status_code == status
        assert says in trouble(answer)
        assert still.store.entries() == []

    @pytest.mark.parametrize(
        ("marks", "what", "says"),
        [
            ([], "one", "Tick two"),
            ([("under.jpg", 1)], "one", "Tick two"),
            ([], "apart", "Tick the marks"),
            ([("open.jpg", 3), ("under.jpg", 1)], "one", "no longer answered"),
            ([("open.jpg", 99), ("under.jpg", 1)], "apart", "no longer answered"),
        ],
    )
    def test_marks_that_can_not_be_meant(self, still: Desk, marks: list[tuple[str, int]], what: str, says: str) -> None:
        answer = sent(still, *(key(still, *each) for each in marks), act=what)
        assert answer.status_code == 400
        assert says in trouble(answer)
        assert still.store.entries() == []

    def test_two_cards_need_a_word(self, lot: Desk) -> None:
        one, two = key(lot, "under.jpg"), key(lot, "open.jpg")
        sent(lot, one, card="4", token="a")
        sent(lot, two, card="5", token="b")
        assert "two cards" in trouble(sent(lot, one, two, token="c"))
        assert sent(lot, one, two, card="5", token="d").status_code == 303
        assert links(lot)[-1] == ({"under.jpg/1", "open.jpg/1"}, "5")

    def test_what_was_typed_stands_there_again(self, lot: Desk) -> None:
        ticked = key(lot, "open.jpg", 2)
        page = Page(sent(lot, ticked, form="sample-1", act="one", card="", by="").text)
        assert ticked in [a["value"] for tag, a in page.elements if tag == "input" and "checked" in a]
        page = Page(sent(lot, form="sample-1", card="<4>").text)
        assert "<4>" in [a["value"] for tag, a in page.elements if a.get("name") == "card"]

    def test_what_can_not_be_seen_is_not_linked(self, lot: Desk) -> None:
        sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"), token="a")
        (lot.shelf.folder / shot_of(lot, "under.jpg").picture).unlink()
        answer = sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg", 2), token="b")
        assert answer.status_code == 409
        trouble(answer)
        # A link that was made in error can be undone all the same.
        assert sent(lot, key(lot, "under.jpg"), key(lot, "open.jpg"), act="apart", token="c").status_code == 303
        assert len(links(lot)) == 3

    def test_another_run_links_do_not_count_here(self, lot: Desk) -> None:
        other = Link(
            tuple(SpeckId(shot_of(lot, name).sha256, "rba9876543210", 1) for name in ("under.jpg", "open.jpg"))
        )
        lot.store.add_entry(Entered(LOT, "Lea", other, "x"))
        assert "If the same: 3, if different: 4." in shown(lot).text


class TestWhoMaySend:
    @pytest.mark.parametrize(
        "headers",
        [
            {"origin": "https://evil.example"},
            {"origin": "null"},
            {"origin": ""},
            {"sec-fetch-site": "cross-site", "origin": BASE},
            {"content-type": "application/json", "origin": BASE},
            {"content-type": "text/plain", "origin": BASE},
            {"host": "evil.example"},
        ],
    )
    def test_only_a_page_of_this_desk(self, still: Desk, headers: dict[str, str]) -> None:
        fields = {"lot": LOT, "by": "Ida", "run": still.shelf.run, "token": "t", "act": "one", "card": "4"}
        fields["mark"] = key(still, "under.jpg")
        usual = {"content-type": FORM["content-type"]}
        answer = client_of(still).post("/lots/link", content=urlencode(fields), headers=usual | headers)
        assert answer.status_code == 403
        assert client_of(still).post("/lots/link", content=urlencode(fields), headers=usual).status_code == 403
        assert still.store.entries() == []

    def test_a_body_that_is_too_large(self, still: Desk) -> None:
        answer = client_of(still).post("/lots/link", content=b"x" * (LARGEST_FORM + 1), headers=FORM)
        assert answer.status_code == 413
        many = "&".join(f"mark={k}" for k in range(2000))
        assert client_of(still).post("/lots/link", content=many, headers=FORM).status_code == 400

    def test_only_with_the_secret_where_the_desk_is_shared(self, lot: Desk) -> None:
        client = client_of(lot, SECRET)
        assert client.get("/lots/link?lot=x").status_code == 403
        assert sent(lot, key(lot, "under.jpg"), card="4", client=client).status_code == 403
        client.get(f"/enter/{SECRET}")
        assert client.get("/lots/link?lot=x").status_code == 200
        assert sent(lot, key(lot, "under.jpg"), card="4", client=client).status_code == 303
        assert client.get(f"/supervisor/{KEY}").status_code == 200

    def test_a_form_opens_nothing_else(self, still: Desk) -> None:
        for path in ("/answer", "/add", "/looked"):
            assert client_of(still).post(path, content="a=b", headers=FORM).status_code == 403
