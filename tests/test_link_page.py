"""The page on marks of one animal: what it shows, and the main path by keyboard.

The lots are invented: the kitchen of Quillmere House.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from made_desk import act, desk_of, drawn_line, made_folder, shot_of, speck
from made_links import LOT, SHOTS, answered, key, shown
from opened_desk import Screen, desk_on
from review_client import Page, client_of
from scored_folder import Made, places
from test_review_pages import faults_of

from cli.lots.entries import Correction, Entered
from cli.lots.why_same import REASONS
from cli.review.cut_outs import SIDE_CSS_PX, cut_out_row
from cli.review.desk import Desk
from cli.review.link_page import _WHY, MOST_OFFERS, key_of
from cli.review.lot_book import book_of
from cli.review.lot_marks import marks_of
from cli.review.words import catalogue

pytestmark = pytest.mark.slow


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


class TestThePage:
    def test_two_totals_and_what_is_offered(self, still: Desk) -> None:
        page = shown(still)
        # By hand: four insects in two samples. Of sample 1 the two aphids on piece 1 may be one; the thrips is another.
        assert "If the same: 3, if different: 4." in page.text
        assert page.text.count("Offer 1") == 1
        assert "Offer 2" not in page.text
        for words in ("same piece, 1", "same kind, aphid", "0.00 mm apart in length"):
            assert words in page.text
        ticked = [a["value"] for tag, a in page.elements if tag == "input" and "checked" in a]
        assert set(ticked) == {key(still, "under.jpg"), key(still, "open.jpg")}
        assert catalogue()["who_decides"] in page.text

    def test_only_what_is_answered_insect_last_is_there(self, lot: Desk) -> None:
        lot.answer(act(speck(lot, 1, "open.jpg"), "not_insect"))
        page = shown(lot)
        assert "If the same: 3, if different: 3." in page.text
        assert "No two marks are offered" in page.text

    def test_a_colony_is_a_range_and_a_skin_stands_beside(self, lot: Desk) -> None:
        for name in ("under.jpg", "open.jpg"):
            lot.answer(act(speck(lot, 1, name), kind="aphid", body="colony", least=4, most=10))
        lot.answer(act(speck(lot, 1, "water.jpg"), kind="aphid", body="skin"))
        page = shown(lot)
        assert "If the same: 5 to 11, if different: 9 to 21." in page.text
        assert "if the same 1, if different 1" in page.text

    def test_without_a_name_nothing_can_be_sent(self, still: Desk) -> None:
        page = shown(still, by="")
        assert not [a for tag, a in page.elements if tag == "button" and a.get("name") == "act"]
        assert [a for tag, a in page.elements if tag == "input" and a.get("id") == "by"]

    def test_what_somebody_put_right_counts(self, lot: Desk) -> None:
        moved = Correction(shot_of(lot, "open.jpg").sha256, "sample", "2")
        lot.store.add_entry(Entered(LOT, "Lea", moved, "c1"))
        assert "Offer 1" in shown(lot).text
        assert "same piece" not in shown(lot).text
        lot.store.add_entry(Entered(LOT, "Lea", Correction(moved.shot_sha256, "lot", "Quillmere 8"), "c2"))
        assert "If the same: 2, if different: 2." in shown(lot).text
        assert "If the same: 2, if different: 2." in shown(lot, "Quillmere 8").text

    def test_it_is_reached_from_the_lot(self, tmp_path: Path) -> None:
        shots = [Made("a.jpg", 1, lot='<b>"7"& 8'), Made("b.jpg", 1, lot="", seed=2)]
        with desk_of(made_folder(tmp_path, shots)) as desk:
            client = client_of(desk)
            assert client.get("/lots/link").headers["location"] == "/lots"
            assert "not a finding of none" in shown(desk, lot="x").text
            for made in shots:
                desk.answer(act(speck(desk, 1, made.name)))
                page = Page(client.get("/lots/one", params={"lot": made.lot}).text)
                [ref] = [a["href"] for tag, a in page.elements if "/lots/link" in a.get("href", "")]
                there = Page(client.get(ref).text)
                assert "If the same: 1, if different: 1." in there.text
                [back] = [a["href"] for tag, a in there.elements if "/lots/one" in a.get("href", "")]
                assert (made.lot or "no lot named") in Page(client.get(back).text).text

    def test_what_waits_for_a_second_reader_is_not_shown(self, lot: Desk) -> None:
        before = "If the same: 3, if different: 4."
        assert before in shown(lot).text
        lot.begin_second(1.0, "Lea")
        page = shown(lot)
        assert "If the same: 0, if different: 0." in page.text
        assert "flags of this lot still wait for somebody" in page.text
        assert "aphid" not in page.text
        for name, number, kind in (("under.jpg", 1, "aphid"), ("open.jpg", 1, "aphid"), ("water.jpg", 1, "thrips")):
            lot.answer(act(speck(lot, number, name), kind=kind, reviewer="Jon", reading=2))
        # The two on the piece agree; of the one in water the readers name two kinds, and a third decides.
        assert "If the same: 1, if different: 2." in shown(lot).text

    def test_names_stay_names(self, tmp_path: Path) -> None:
        made = Made("<img src=x>.jpg", 1, lot="<script>", sample="<i>")
        with desk_of(made_folder(tmp_path, [made])) as desk:
            desk.answer(act(speck(desk, 1, made.name), kind="<u>"))
            answer = client_of(desk).get("/lots/link", params={"lot": "<script>", "by": '"><b>'})
        page = Page(answer.text)
        assert not {tag for tag, _ in page.elements} & {"i", "u", "b"}
        assert "<i>" in page.text
        assert [a["src"] for tag, a in page.elements if tag == "script"] == ["/static/link.js"]

    def test_a_blank_tray_is_no_part_of_it(self, tmp_path: Path) -> None:
        with desk_of(made_folder(tmp_path, [Made("blank.jpg", 1, lot=LOT, view="blank"), *SHOTS])) as desk:
            desk.answer(act(speck(desk, 1, "blank.jpg")))
            page = shown(desk)
        assert "If the same: 0, if different: 0." in page.text
        assert "1 mark lies on a photograph of the blank tray" in page.text

    def test_the_pair_round_a_swirl_is_read_together(self, tmp_path: Path) -> None:
        pair = [
            Made("water.jpg", 2, lot=LOT, view="water", seed=5),
            Made("swirl.jpg", 2, lot=LOT, view="swirl", seed=5),
        ]
        with desk_of(made_folder(tmp_path, pair)) as desk:
            for made in pair:
                for number in (1, 2):
                    desk.answer(act(speck(desk, number, made.name)))
            page = shown(desk)
        assert "Sample 1, all flags before and after the swirl: 2 at one place in both photographs" in page.text
        # By hand: once as the reason of each of two offers; under each of four marks, there and in the list of all.
        assert page.text.count("at one place before and after the swirl") == 2 + 4 + 4

    def test_there_are_never_too_many_to_read(self, tmp_path: Path) -> None:
        many = MOST_OFFERS + 3
        with desk_of(made_folder(tmp_path, [Made(f"{k}.jpg", many, lot=LOT, seed=k) for k in (1, 2)])) as desk:
            for name in ("1.jpg", "2.jpg"):
                for number in range(1, many + 1):
                    desk.answer(act(speck(desk, number, name)))
            page = shown(desk)
        assert f"If the same: {many}, if different: {2 * many}." in page.text
        assert f"Offer {MOST_OFFERS}" in page.text
        assert f"Offer {MOST_OFFERS + 1}" not in page.text
        assert "3 more offers come up" in page.text

    def test_every_reason_has_its_sentence(self) -> None:
        assert set(_WHY) == set(REASONS)
        assert len({catalogue()[each] for each in _WHY.values()}) == len(REASONS)


class TestCutOuts:
    def test_all_have_one_real_scale(self, tmp_path: Path) -> None:
        shots = [Made("fine.jpg", 1, px_per_mm=30.0, seed=1), Made("coarse.jpg", 1, px_per_mm=15.0, seed=2)]
        with desk_of(made_folder(tmp_path, shots)) as desk:
            for made in shots:
                desk.answer(act(speck(desk, 1, made.name)))
            row = cut_out_row(marks_of(book_of(desk)), desk.shelf)
        assert row.bar_mm == "1"
        for cut, scale in zip(row.cut_outs, (15.0, 30.0), strict=True):
            left, top, wide, high = map(float, cut.box.split())
            assert (wide, high) == (4 * scale, 4 * scale)
            (x0, y0), (x1, y1) = (map(float, point.split(",")) for point in cut.bar.split())
            on_page = (x1 - x0) * cut.wide / wide
            assert on_page == pytest.approx(SIDE_CSS_PX / 4, rel=0.01), "1 mm of 4"
            assert left <= cut.x <= left + wide
            assert top <= cut.y <= top + high
            assert y0 == y1

    def test_at_the_edge_the_scale_stays(self, tmp_path: Path) -> None:
        made = Made("a.jpg", 1, size_px=(70, 300))
        with desk_of(made_folder(tmp_path, [made])) as desk:
            desk.answer(act(speck(desk, 1, "a.jpg")))
            [cut] = cut_out_row(marks_of(book_of(desk)), desk.shelf).cut_outs
            assert client_of(desk).get(cut.source).status_code == 200
        # 80 px would be 4 mm: the picture is but 70 px wide.
        assert (cut.wide, cut.high) == (210, 240)
        assert cut.box.split()[0] == "0"
        assert cut.x == pytest.approx(places(made)[0][0] + 0.5)

    def test_without_a_scale_there_is_no_bar(self, tmp_path: Path) -> None:
        with desk_of(made_folder(tmp_path, [Made("a.jpg", 1, px_per_mm=None, lot=LOT)])) as desk:
            desk.answer(act(speck(desk, 1, "a.jpg")))
            row = cut_out_row(marks_of(book_of(desk)), desk.shelf)
            assert (row.bar_mm, row.cut_outs[0].bar) == ("", "")
            assert "have no scale" in shown(desk).text

    def test_an_added_speck_has_the_length_that_was_drawn(self, lot: Desk) -> None:
        told = lot.add(drawn_line(shot_of(lot, "water.jpg"), answer={"answer": "insect", "kind": "larva"}))
        [mark] = [each for each in marks_of(book_of(lot)) if each.speck.candidate == told["candidate"]]
        assert mark.length_mm == pytest.approx(20 / 20)
        assert (mark.kind, mark.view, mark.x_mm) == ("larva", "water", None)


def test_by_keyboard(browser: Any, tmp_path: Path) -> None:
    shots = [
        Made("under.jpg", 2, lot=LOT, piece="1", view="underside", seed=3),
        Made("open.jpg", 2, lot=LOT, piece="1", view="opened", seed=4),
    ]
    folder = made_folder(tmp_path, shots)
    with desk_of(folder) as desk:
        for made in shots:
            for number, kind in ((1, "aphid"), (2, "thrips")):
                desk.answer(act(speck(desk, number, made.name), kind=kind))
        specks = {key_of(mark) for mark in marks_of(book_of(desk))}
    assert len(specks) == 4
    with desk_on(folder) as desk:
        context = browser.new_context(viewport={"width": 1200, "height": 900}, bypass_csp=True)
        screen = Screen(context, f"{desk.address.rstrip('/')}/lots/link?{urlencode({'lot': LOT})}")
        page = screen.page
        page.focus("#by")
        page.keyboard.type("Ida")
        page.keyboard.press("Enter")
        page.wait_for_selector("#offer-1 button[name=act]")
        assert "If the same: 2, if different: 4." in page.inner_text("main")
        page.wait_for_selector("#offer-1[data-shown=yes]")
        assert page.evaluate("document.activeElement.id") == "offer-1"
        assert faults_of(page) == []
        images = page.locator("#offer-1 img")
        assert [images.nth(k).bounding_box()["width"] for k in (0, 1)] == [240, 240]
        page.keyboard.press("c")
        assert page.evaluate("document.activeElement.id") == "offer-2"
        page.wait_for_selector("#offer-2[data-shown=yes]")
        page.keyboard.press("d")
        page.wait_for_function("() => !document.getElementById('offer-2')")
        assert "If the same: 3, if different: 4." in page.inner_text("main")
        page.wait_for_selector("#offer-1[data-shown=yes]")
        # A key answers nothing where no offer has the focus, or where it is not on the screen.
        page.focus("#sample-1 input[type=checkbox]")
        page.keyboard.press("a")
        page.focus("#offer-1")
        page.evaluate("window.scrollTo(0, document.body.scrollHeight)")
        page.keyboard.press("a")
        page.wait_for_timeout(300)
        assert "If the same: 3, if different: 4." in page.inner_text("main")
        page.evaluate("document.getElementById('offer-1').scrollIntoView()")
        page.keyboard.press("a")
        page.wait_for_function("() => !document.getElementById('offer-1')")
        assert "If the same: 3, if different: 3." in page.inner_text("main")
        # Undone by the tab key and the space bar alone: both marks ticked, then separated.
        page.focus("#said")
        for _ in range(2):
            page.keyboard.press("Tab")
            page.keyboard.press("Space")
        page.keyboard.press("Tab")
        page.keyboard.press("Enter")
        page.wait_for_function("() => document.querySelector('main').innerText.includes('if different: 4.')")
        assert faults_of(page) == []
        for width in (360, 800):
            page.set_viewport_size({"width": width, "height": 800})
            assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"), width
        assert screen.faults == []
        context.close()
