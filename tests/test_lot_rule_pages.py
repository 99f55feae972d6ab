"""The pages of a lot's rule: from the form or the file to the signature, the page to be signed; and all pages of lots as such."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from made_desk import desk_of, made_folder, shot_of
from made_forms import LEAD, LOT, ORIGIN, SENT, alert_of, post, sent, text_of, typed_in
from review_client import Page, client_of
from scored_folder import Made
from starlette.testclient import TestClient
from test_house import forbidden

from cli.lots.entries import (
    Entered,
    RuleGiven,
)
from cli.lots.rule_file import example_rule, read_rule, rule_text
from cli.lots.rule_page import form_page
from cli.review import lot_pages
from cli.review.desk import Desk
from cli.review.rule_form import typed_of_rule

EXAMPLE = example_rule()
RULE = {name: list(values) for name, values in typed_of_rule(EXAMPLE).values.items()}


@pytest.fixture(autouse=True)
def _on_a_day(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether a rule is in force depends on the day."""
    monkeypatch.setattr(lot_pages, "_today", lambda: date(2026, 11, 2))


class TestTheRule:
    def test_from_the_form_to_the_signature(self, own: Desk, mine: TestClient) -> None:
        assert "Counts only: no house rule has been entered." in text_of(mine, "/lots/one?lot=L-17")
        answer = post(mine, sent("written", "a") | RULE, LEAD, "rule")
        assert answer.status_code == 303, alert_of(answer)
        assert answer.headers["location"].startswith(f"{LEAD}/lots/rule?lot=L-17")
        shown = text_of(mine, answer.headers["location"])
        assert "has not been signed." in shown
        digest = re.findall(r'name="digest" value="(\w+)"', mine.get(f"{LEAD}/lots/rule?lot=L-17").text)
        assert digest == [EXAMPLE.digest]
        signature = {"name": "Odile Farrow-Quill", "on": "2026-01-05", "scan": "page.png", "scan_sha256": "5a" * 32}
        post(mine, sent("signed", "b", digest=digest[0]) | signature, LEAD, "rule")
        texts = [each.value.text for each in own.store.entries() if isinstance(each.value, RuleGiven)]
        first, second = (read_rule(text.encode()) for text in texts)
        assert first.signature is None
        assert second.signature is not None
        assert first.digest == second.digest == second.signature.digest == EXAMPLE.digest
        shown = text_of(mine, "/lots/one?lot=L-17")
        assert "the rule of Kitchen Table of Quillmere House (invented) (of 2026-01-05" in shown
        assert "has not been signed" not in shown.split("Enter something")[0]

    def test_is_shown_in_the_form_that_changes_it(self, mine: TestClient) -> None:
        post(mine, sent("file", pasted=rule_text(EXAMPLE)), LEAD, "rule")
        page = mine.get(f"{LEAD}/lots/rule?lot=L-17").text
        assert f">\n{Page(EXAMPLE.text).text.split('.')[0]}" in page
        assert 'value="Rinse the lot three times in the blue basin and look at a new sample"' in page
        assert len(re.findall(r'name="bodies" value="\w+" checked', page)) == 3

    @pytest.mark.parametrize("way", ["pasted", "uploaded", "uploaded with a mark"])
    def test_from_a_file(self, own: Desk, mine: TestClient, way: str) -> None:
        text = "# Ours: בצל\n" + rule_text(EXAMPLE)
        fields = sent("file", pasted=text if way == "pasted" else "")
        held = text.encode("utf-8-sig" if way.endswith("mark") else "utf-8")
        files = {"upload": ("rule.toml", held if way != "pasted" else b"")}
        answer = post(mine, fields, LEAD, "rule", files=files)
        assert answer.status_code == 303, answer.text
        assert [each.value for each in own.store.entries()] == [RuleGiven(text)]

    def test_changed_or_expired_or_for_other_produce_is_counts_only(self, own: Desk, mine: TestClient) -> None:
        text = rule_text(EXAMPLE)
        for token, old, new, says in (
            ("a", "most_rechecks = 2", "most_rechecks = 3", "was changed after it was signed"),
            ("b", "2035-12-31", "2026-01-31", "was changed after it was signed"),
        ):
            post(mine, sent("file", token, pasted=text.replace(old, new)), LEAD, "rule")
            shown = text_of(mine, "/lots/one?lot=L-17")
            assert "Counts only: the rule of Kitchen Table of Quillmere House (invented) (of 2025-12-12" in shown
            assert says in shown
        for token, more, says in (
            ("c", {"until_date": ["2026-01-31"]}, "was in force until 2026-01-31"),
            ("d", {"produce": ["leek"]}, "is for leek, not for a lot whose produce is not named"),
        ):
            post(mine, sent("written", token) | RULE | more, LEAD, "rule")
            digest = re.findall(r'name="digest" value="(\w+)"', mine.get(f"{LEAD}/lots/rule?lot=L-17").text)[0]
            signature = {"name": "Odile", "on": "2026-01-05", "scan": "page.png", "scan_sha256": "5a" * 32}
            post(mine, sent("signed", token * 2, digest=digest) | signature, LEAD, "rule")
            assert says in text_of(mine, "/lots/one?lot=L-17")

    def test_not_yet_in_force_at_the_first_check(self, mine: TestClient) -> None:
        post(mine, sent("file", pasted=rule_text(EXAMPLE)), LEAD, "rule")
        assert "Counts only" not in text_of(mine, "/lots/one?lot=L-17")
        post(mine, sent("sampled", "u", on="2025-12-31"))
        assert "the first check was made on 2025-12-31" in text_of(mine, "/lots/one?lot=L-17")

    def test_of_another_lot_is_taken_over_word_for_word(self, own: Desk, mine: TestClient) -> None:
        assert 'id="form-taken_over"' not in mine.get(f"{LEAD}/lots/rule?lot=L-18").text
        post(mine, sent("file", "a", pasted=rule_text(EXAMPLE)), LEAD, "rule")
        assert 'id="form-taken_over"' in mine.get(f"{LEAD}/lots/rule?lot=L-18").text
        post(mine, sent("taken_over", "b", lot="L-18", lot_of_rule=LOT), LEAD, "rule")
        one, other = own.store.entries()
        assert one.value == other.value
        assert (one.lot, other.lot) == (LOT, "L-18")
        answer = post(mine, sent("taken_over", "c", lot="L-18", lot_of_rule="L-99"), LEAD, "rule")
        assert "no rule on that lot" in alert_of(answer)

    def test_is_taken_off_again(self, own: Desk, mine: TestClient) -> None:
        post(mine, sent("file", "a", pasted=rule_text(EXAMPLE)), LEAD, "rule")
        post(mine, sent("none", "b"), LEAD, "rule")
        assert own.store.entries()[-1].value == RuleGiven("")
        shown = text_of(mine, "/lots/one?lot=L-17")
        assert "Counts only: no house rule has been entered." in shown
        assert "none: counts only from then on" in shown

    def test_that_can_not_be_read_is_counts_only(self, own: Desk, mine: TestClient) -> None:
        own.store.add_entry(Entered(LOT, "Lea", RuleGiven("x = "), "t"))
        shown = text_of(mine, "/lots/one?lot=L-17")
        assert "Counts only: the rule that was given can't be read. The rule's file is not TOML in UTF-8" in shown
        assert mine.get("/lots/rule/page?lot=L-17").status_code == 200

    def test_that_was_changed_meanwhile_is_not_signed(self, own: Desk, mine: TestClient) -> None:
        post(mine, sent("written", "a") | RULE, LEAD, "rule")
        signature = {"name": "Odile", "on": "2026-01-05", "scan": "page.png", "scan_sha256": "5a" * 32}
        answer = post(mine, sent("signed", "b", digest="0" * 64) | signature, LEAD, "rule")
        assert answer.status_code == 400
        assert "has changed since this page was opened" in alert_of(answer)
        assert len(own.store.entries()) == 1

    @pytest.mark.parametrize(
        ("what", "wrong", "says"),
        [
            ("written", {"low_3": ["4"]}, "leave out 3"),
            ("written", {"bodies": []}, "bodies is empty"),
            ("written", {"by": [""]}, "the name of who makes it"),
            ("file", {"pasted": "no rule"}, "not TOML"),
            ("file", {}, "neither a text nor a file"),
        ],
    )
    def test_refused_beside_its_form_with_what_was_typed(
        self, own: Desk, mine: TestClient, what: str, wrong: dict[str, Any], says: str
    ) -> None:
        fields = sent(what) | (RULE if what == "written" else {}) | wrong
        answer = post(mine, fields, LEAD, "rule")
        assert answer.status_code == 400
        assert says in alert_of(answer)
        assert own.store.entries() == []
        if what == "written":
            typed = typed_in(answer)
            assert typed["authority"] == "Kitchen Table of Quillmere House (invented)"
            assert typed["text"].startswith("This rule is invented, and so are we")
            assert typed["low_3"] == fields["low_3"][0]

    def test_a_file_that_can_not_be_taken_apart(self, own: Desk, mine: TestClient) -> None:
        named = b"--x\r\nContent-Disposition: form-data; name=lot\r\n\r\n\xff\r\n--x--"
        for kind in ("multipart/form-data", "multipart/form-data; boundary=x", 'multipart/form-data; boundary="'):
            for body in (b"", b"--x", b"--x\r\n\r\nlot=1\r\n--x--", named):
                headers = ORIGIN | {"content-type": kind}
                assert mine.post(f"{LEAD}/lots/rule", content=body, headers=headers).status_code == 400
        assert own.store.entries() == []


class TestThePageToBeSigned:
    @pytest.mark.parametrize("base", ["", LEAD])
    def test_holds_every_block_word_for_word(self, mine: TestClient, base: str) -> None:
        for rule in (None, EXAMPLE):
            if rule:
                post(mine, sent("file", pasted=rule_text(rule)), LEAD, "rule")
            answer = mine.get(f"{base}/lots/rule/page?lot=L-17")
            page = form_page(rule)
            shown = Page(answer.text).text
            for block in page.page:
                assert " ".join(block.text.split()) in shown
                assert block.head in shown
            assert answer.text.count('<div class="write">') == sum(block.to_write for block in page.page)
            assert 'class="a4"' in answer.text

    def test_on_letter_and_on_no_other_paper(self, mine: TestClient) -> None:
        assert 'class="letter"' in mine.get("/lots/rule/page?lot=L-17&paper=letter").text
        assert mine.get("/lots/rule/page?lot=L-17&paper=a5").status_code == 400


@pytest.fixture
def pages(mine: TestClient) -> list[str]:
    post(mine, sent("file", pasted=rule_text(EXAMPLE)), LEAD, "rule")
    for token, what in enumerate(sorted(SENT)):
        post(mine, sent(what, str(token)), LEAD)
    paths = ["/lots", "/lots/one?lot=L-17", "/lots/rule/page?lot=L-17"]
    return [mine.get(base + path).text for path in paths for base in ("", LEAD)] + [
        mine.get(f"{LEAD}/lots/rule?lot=L-17").text
    ]


class TestThePages:
    def test_hold_no_script_and_no_style_and_ask_this_desk_alone(self, pages: list[str]) -> None:
        for source in pages:
            page = Page(source)
            assert page.scripted == ""
            for tag, attributes in page.elements:
                assert tag not in ("script", "style", "iframe", "object", "embed", "base")
                assert not [name for name in attributes if name == "style" or name.startswith("on")]
                for name in ("src", "href", "action", "formaction"):
                    assert re.match(r"/(?!/)|#", attributes.get(name, "#"))

    def test_have_a_label_for_every_field_and_each_id_once(self, pages: list[str]) -> None:
        for source in pages:
            page = Page(source)
            ids = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
            assert len(ids) == len(set(ids))
            labelled = {
                attributes["for"] for tag, attributes in page.elements if tag == "label" and "for" in attributes
            }
            for tag, attributes in page.elements:
                if tag in ("input", "select", "textarea") and attributes.get("type") not in ("hidden", "checkbox"):
                    assert attributes["id"] in labelled, attributes
                assert attributes.get("aria-labelledby", ids[0] if ids else "") in [*ids, ""]
                assert attributes.get("list", "samples") in [*ids, "samples"]

    def test_say_no_forbidden_word(self, pages: list[str]) -> None:
        for source in pages:
            assert forbidden(Page(source).text) == []
            assert "A person answers for every flag" in source or "decides nothing" in source

    def test_keep_markup_text(self, tmp_path: Path) -> None:
        markup = "<img src=x onerror=alert(1)>"
        with desk_of(made_folder(tmp_path, [Made("a.jpg", 1, lot=markup, sample="</script>")])) as desk:
            client = client_of(desk)
            sha256 = shot_of(desk, "a.jpg").sha256
            post(client, sent("removed", "a", lot=markup, what="</textarea><b>x</b>", by="<i>Ida</i>", piece='"><u>'))
            post(client, sent("correction", "b", lot=markup, shot_sha256=sha256, value="<b>3</b>", by="<i>Ida</i>"))
            answer = post(client, sent("removed", "c", lot=markup, what="</textarea><b>x</b>" * 200))
            assert answer.status_code == 400
            for source in (client.get("/lots").text, client.get("/lots/one", params={"lot": markup}).text, answer.text):
                page = Page(source)
                assert not {tag for tag, _ in page.elements} & {"img", "script", "b", "i", "u"}
                assert markup in page.text
