"""Forms on lots that can't be kept: a sentence beside the form with what was typed; and who may send which."""

from __future__ import annotations

import re
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from made_answers import ODD_TEXTS
from made_forms import LEAD, ORIGIN, SENT, alert_of, post, sent, typed_in
from review_client import KEY, Page, client_of, raises, sentence_of
from starlette.testclient import TestClient

from cli.review.desk import Desk
from cli.review.guard import LARGEST_FORM
from cli.review.store import StoreError
from vision.errors import DiskFull


@pytest.fixture(scope="module")
def steady(desk: Desk) -> TestClient:
    """One for all tests that leave nothing behind."""
    return client_of(desk)


WRONG: list[tuple[str, dict[str, Any], str]] = [
    ("sampled", {"pieces": "twelve"}, "Pieces looked at: twelve is no whole number."),
    ("sampled", {"pieces": "1.5"}, "no whole number"),
    ("sampled", {"pieces": "9" * 30}, "no whole number"),
    ("sampled", {"pieces": "0"}, "pieces"),
    ("sampled", {"grams": "1e3"}, "Grams: 1e3 is no number."),
    ("sampled", {"grams": "-4"}, "no number"),
    ("sampled", {"grams": ""}, "raw or drained"),
    ("sampled", {"grams_are": "wet"}, "wet"),
    ("sampled", {"check": "2"}, "first look"),
    ("sampled", {"on": "4.3.26"}, "no day"),
    ("sampled", {"by": ""}, "the name of who makes it"),
    ("sampled", {"by": "\u200b"}, "the name of who makes it"),
    ("sampled", {"token": ""}, "no mark of its own"),
    ("sampled", {"token": "x" * 81}, "token"),
    ("sampled", {"sample": "a\x07"}, "control character"),
    ("lot_of", {"pieces": "-1"}, "no whole number"),
    ("removed", {"what": "  "}, "not said"),
    ("detection", {"seen": "", "put_in": ""}, "share"),
    ("detection", {"assumed": "101", "seen": "", "put_in": ""}, "above 0 and up to 1"),
    ("detection", {"seen": "21"}, "No more are seen"),
    ("correction", {"shot_sha256": "0" * 64}, "no such photograph"),
    ("correction", {"shot_sha256": ""}, "."),
    ("correction", {"field": "weather"}, "weather"),
    ("correction", {"field": "grams", "value": "much"}, "much is no number"),
    ("correction", {"field": "check", "value": "2nd"}, "2nd is no whole number"),
    ("correction", {"field": "view", "value": "from behind"}, "view can't be 'from behind'"),
    ("correction", {"field": "grams_are", "value": "wet"}, "raw or drained can't be 'wet'"),
    ("late_entry", {"pieces": ""}, "How many pieces"),
    ("late_entry", {"time": ""}, "Day and time are both needed"),
    ("late_entry", {"day": "2026-02-30"}, "Day and time"),
    ("late_entry", {"offset": "CET"}, "offset"),
    ("late_entry", {"checker": ""}, "who looked"),
    ("late_entry", {"least_1": ""}, "Line 1 does not say how many."),
    ("late_entry", {"most_1": "9"}, "Only a colony"),
    ("late_entry", {"piece_7": "3"}, "Line 7"),
    ("decision", {"text": ""}, "not said"),
    ("decision", {"decided_by": ""}, "who decided"),
    ("decision", {"day": "", "time": ""}, "entered late needs the day and time"),
]


class TestRefused:
    @pytest.mark.parametrize(("what", "wrong", "says"), WRONG)
    def test_beside_the_form_with_what_was_typed(
        self, desk: Desk, steady: TestClient, what: str, wrong: dict[str, Any], says: str
    ) -> None:
        fields = sent(what, desk=desk) | wrong
        answer = post(steady, fields, LEAD)
        assert answer.status_code == 400
        assert says in alert_of(answer)
        assert desk.store.entries() == []
        # The one form that is open, with everything in it but its token.
        assert re.findall(r'<details class="form" id="form-(\w+)" open>', answer.text) == [what]
        typed = typed_in(answer)
        for name, value in fields.items():
            if name not in ("token", "whole") and name in typed:
                assert typed[name] == Page(value.replace("\r\n", "\n")).text or typed[name] == value, name

    @pytest.mark.parametrize("what", ["", "rule", "link", "written", "../etc", "<b>"])
    def test_a_form_that_there_is_none_of(self, desk: Desk, steady: TestClient, what: str) -> None:
        answer = post(steady, sent(what))
        assert answer.status_code == 400
        assert desk.store.entries() == []

    @pytest.mark.parametrize(
        ("error", "status", "says"),
        [
            (StoreError("The record can't be used: it is locked."), 503, "it is locked"),
            (DiskFull("The disk is full: the answer could not be kept."), 507, "Make room and send it again"),
        ],
    )
    def test_what_the_record_can_not_take_stays_typed(
        self, own: Desk, mine: TestClient, monkeypatch: pytest.MonkeyPatch, error: Exception, status: int, says: str
    ) -> None:
        with monkeypatch.context() as patched:
            patched.setattr(own.store, "add_entry", raises(error))
            answer = post(mine, sent("sampled"))
        assert answer.status_code == status
        assert says in alert_of(answer)
        assert typed_in(answer)["grams"] == "340,5"

    def test_a_record_that_can_not_be_read_is_a_sentence(
        self, own: Desk, mine: TestClient, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(own.store, "entries", raises(StoreError("The record can't be used: it is locked.")))
        for path in ("/lots", "/lots/one?lot=L-17", "/lots/rule/page?lot=L-17"):
            answer = mine.get(path)
            assert answer.status_code == 503
            assert sentence_of(answer) == "The record can't be used: it is locked."

    @pytest.mark.parametrize("lot", ["x" * 201, "a%00", "%0a"])
    def test_a_name_that_no_lot_can_have(self, own: Desk, mine: TestClient, lot: str) -> None:
        answer = mine.get(f"/lots/one?lot={lot}")
        assert answer.status_code == 400
        sentence_of(answer)
        assert (
            mine.post(
                "/lots/one",
                content=f"lot={lot}&form=lot_of&by=Ida&token=t".encode(),
                headers=ORIGIN | {"content-type": "application/x-www-form-urlencoded"},
            ).status_code
            == 400
        )
        assert own.store.entries() == []

    @given(st.data())
    @settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_whatever_is_sent_is_an_entry_or_a_sentence(self, own: Desk, mine: TestClient, data: st.DataObject) -> None:
        what = data.draw(st.sampled_from(sorted(SENT)))
        fields = sent(what, data.draw(st.uuids()).hex, own)
        name = data.draw(st.sampled_from(sorted(fields)))
        odd = st.sampled_from(
            [*ODD_TEXTS, "", "0", "1", "\ud800", "\x00", "x" * 5000, "²", "٣", "+1", "1_0"]
        ) | st.text(max_size=9)
        body = {key: value.encode("utf-8", "surrogatepass") for key, value in (fields | {name: data.draw(odd)}).items()}
        before = len(own.store.entries())
        answer = post(mine, body, LEAD)
        assert answer.status_code in (303, 400)
        assert len(own.store.entries()) == before + (answer.status_code == 303)


class TestWhoMayEnter:
    def test_the_decision_needs_the_supervisor_s_key(self, own: Desk, mine: TestClient) -> None:
        answer = post(mine, sent("decision"))
        assert answer.status_code == 400
        assert own.store.entries() == []
        assert 'id="form-decision"' not in mine.get("/lots/one?lot=L-17").text
        assert 'id="form-decision"' in mine.get(f"{LEAD}/lots/one?lot=L-17").text

    def test_the_rule_needs_it(self, own: Desk, mine: TestClient) -> None:
        assert mine.get("/lots/rule?lot=L-17").status_code == 404
        assert post(mine, sent("none"), page="rule").status_code == 404
        assert own.store.entries() == []

    def test_a_wrong_key_opens_nothing(self, own: Desk, mine: TestClient) -> None:
        for key in ("wrong", KEY[:-1], KEY.upper(), "é"):
            for page in ("", "/one?lot=L-17", "/rule?lot=L-17", "/rule/page?lot=L-17"):
                answer = mine.get(f"/supervisor/{key}/lots{page}")
                assert answer.status_code == 403
                assert "not the supervisor's link" in sentence_of(answer)
            assert post(mine, sent("sampled"), f"/supervisor/{key}").status_code == 403
            assert post(mine, sent("none"), f"/supervisor/{key}", "rule").status_code == 403
        assert own.store.entries() == []

    @pytest.mark.parametrize(
        ("headers", "status"),
        [
            ({}, 403),
            ({"origin": "https://evil.example"}, 403),
            ({"origin": "null"}, 403),
            ({"origin": ""}, 403),
            (ORIGIN, 303),
            (ORIGIN | {"sec-fetch-site": "cross-site"}, 403),
            (ORIGIN | {"sec-fetch-site": "same-origin"}, 303),
            (ORIGIN | {"content-type": "application/json"}, 403),
            (ORIGIN | {"content-type": "text/plain"}, 403),
            (ORIGIN | {"host": "evil.example"}, 403),
        ],
    )
    def test_only_this_desk_s_own_pages(
        self, own: Desk, mine: TestClient, headers: dict[str, str], status: int
    ) -> None:
        answer = mine.post("/lots/one", data=sent("sampled"), headers=headers)
        assert answer.status_code == status
        assert len(own.store.entries()) == (status == 303)
        if status == 403:
            sentence_of(answer)

    def test_a_form_is_still_none_elsewhere(self, mine: TestClient) -> None:
        for path in ("/answer", "/add", "/looked", "/lotsx"):
            assert mine.post(path, data=sent("sampled"), headers=ORIGIN).status_code == 403

    def test_up_to_a_bound(self, own: Desk, mine: TestClient) -> None:
        assert post(mine, sent("removed", what="x" * (LARGEST_FORM - 400))).status_code == 400
        answer = post(mine, sent("removed", what="x" * LARGEST_FORM))
        assert (answer.status_code, answer.text) == (413, "The request is too large.")
        many = {f"n{n}": "1" for n in range(500)}
        assert post(mine, sent("removed") | many).status_code == 400
        assert own.store.entries() == []

    def test_where_the_desk_is_shared(self, own: Desk) -> None:
        shared = client_of(own, "s3cret-of-the-link")
        for path in ("/lots", "/lots/one?lot=L-17", "/lots/rule/page?lot=L-17"):
            assert shared.get(path).status_code == 403
        assert post(shared, sent("sampled")).status_code == 403
        assert shared.get(f"{LEAD}/lots/one?lot=L-17").status_code == 200
        # The supervisor's page has let the browser in.
        assert shared.get("/static/lots.css").status_code == 200
        assert post(shared, sent("sampled"), LEAD).status_code == 303
