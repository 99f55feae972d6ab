"""What a person may say of a speck, what of it counts, and what is refused, whatever a page sends."""

from __future__ import annotations

import json
import unicodedata
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_answers import COLONY, JSON, NAMES, NOTES, OTHER_RUN, OTHER_SHOT, PLAIN, RUN, SHOT, SPECK, added, answer

from cli.review.answers import (
    ANSWERS,
    BODIES,
    FROM_DESK,
    TAKEN_BACK,
    Added,
    Answer,
    AnswerError,
    Key,
    Ring,
    Said,
    SpeckId,
    answer_of,
    is_open,
    last_words,
    same_person,
    speck_of,
)

NAN, INF = float("nan"), float("inf")


class TestWhatMayStandTogether:
    def test_an_insect_with_all_that_is_said_of_one(self) -> None:
        said = answer(kind="flea beetle", body="whole", basis="loupe", unaided="no", note="on the stem\n\tbelow")
        assert (said.kind, said.body, said.basis, said.unaided) == ("flea beetle", "whole", "loupe", "no")

    @pytest.mark.parametrize("word", [*ANSWERS, TAKEN_BACK])
    def test_every_answer_with_what_was_looked_at_and_a_note(self, word: str) -> None:
        assert answer(said=word, basis="picture", note="?").answer == word

    @pytest.mark.parametrize("body", sorted({*BODIES} - {"colony"}))
    def test_one_body_has_no_count(self, body: str) -> None:
        assert answer(body=body).least is None
        for more in ({"least": 1, "most": 1}, {"most": 2}, {"ring": Ring(1, 1, 1)}):
            with pytest.raises(AnswerError, match="for a colony only"):
                answer(body=body, **more)

    @pytest.mark.parametrize(("least", "most"), [(1, 1), (30, 50), (1, 1_000_000)])
    @pytest.mark.parametrize("ring", [None, Ring(-3.5, 0.0, 12.0)])
    def test_a_colony_has_a_count_and_perhaps_a_ring(self, least: int, most: int, ring: Ring | None) -> None:
        assert answer(body="colony", least=least, most=most, ring=ring).most == most

    @pytest.mark.parametrize(("least", "most"), [(0, 5), (-1, 5), (6, 5), (1, 1_000_001)])
    def test_a_count_that_is_none_is_refused(self, least: int, most: int) -> None:
        with pytest.raises(AnswerError, match="the first number is 1 or more, and the second no smaller"):
            answer(body="colony", least=least, most=most)

    @pytest.mark.parametrize("more", [{}, {"least": 3}, {"most": 3}])
    def test_a_colony_without_a_count_is_refused(self, more: dict[str, int]) -> None:
        with pytest.raises(AnswerError, match="A colony needs a count"):
            answer(body="colony", **more)

    @pytest.mark.parametrize("word", ["not_insect", "look_again", TAKEN_BACK])
    @pytest.mark.parametrize(
        "more",
        [
            *({"kind": "aphid"}, {"body": "whole"}, {"body": "colony", "least": 1, "most": 2}, {"unaided": "no"}),
            *({"least": 0}, {"ring": Ring(1, 1, 1)}),
        ],
        ids=lambda more: "-".join(more),
    )
    def test_what_is_said_of_an_insect_is_refused_of_anything_else(self, word: str, more: dict[str, Any]) -> None:
        with pytest.raises(AnswerError, match="of an insect only"):
            answer(said=word, **more)
        with pytest.raises(AnswerError, match="for a colony only"):
            answer(said=word, most=5)


class TestRefusals:
    @pytest.mark.parametrize("name", ["answer", "body", "basis", "unaided", "source"])
    @pytest.mark.parametrize("word", ["Insect", "none", " ", "x" * 5000])
    def test_a_word_of_no_list_names_the_list(self, name: str, word: str) -> None:
        with pytest.raises(AnswerError, match=rf"^{name} can't be '") as refused:
            answer(**{"said" if name == "answer" else name: word})
        assert len(str(refused.value)) < 200
        assert ("or empty" in str(refused.value)) == (name != "source")

    @pytest.mark.parametrize("reading", [0, 4, -1, 10**30])
    def test_a_reading_that_is_none(self, reading: int) -> None:
        with pytest.raises(AnswerError, match=f"no reading {reading}"):
            answer(reading=reading)

    @pytest.mark.parametrize("name", ["", " ", "\u00a0", "\u200b", "\u2060 \ufeff"])
    def test_a_name_of_which_nothing_is_seen(self, name: str) -> None:
        with pytest.raises(AnswerError, match="needs the name of who gives it"):
            answer(reviewer=name)
        with pytest.raises(AnswerError, match="needs the name of who saw it"):
            replace(added("t"), by=name)

    @pytest.mark.parametrize(
        ("name", "longest"), [("reviewer", 80), ("kind", 80), ("note", 2000), ("token", 80)], ids=lambda v: str(v)
    )
    def test_a_text_that_is_too_long(self, name: str, longest: int) -> None:
        answer(**{name: "🐛" * longest})
        with pytest.raises(AnswerError, match=f"is longer than {longest} characters"):
            answer(**{name: "x" * (longest + 1)})

    @pytest.mark.parametrize("letter", ["\x00", "\x1b", "\x7f", "\x85", "\r", "\ud800", "\u202e", "\u202a"])
    @pytest.mark.parametrize("name", ["reviewer", "kind", "note", "token"])
    def test_a_letter_that_can_not_be_shown_or_kept(self, name: str, letter: str) -> None:
        with pytest.raises(AnswerError, match="holds a control character"):
            answer(**{name: f"a{letter}b"})

    @pytest.mark.parametrize("letter", ["\n", "\t"])
    def test_a_second_line_but_in_a_note(self, letter: str) -> None:
        assert answer(note=f"a{letter}b").note == f"a{letter}b"
        for name in ("reviewer", "kind", "token"):
            with pytest.raises(AnswerError, match="holds a control character"):
                answer(**{name: f"a{letter}b"})

    @pytest.mark.parametrize("at", range(3))
    @pytest.mark.parametrize("value", [NAN, INF, -INF, 1e6, -1e6, 10**400])
    def test_a_ring_that_lies_nowhere(self, at: int, value: float) -> None:
        numbers = [1.0, 1.0, 1.0]
        numbers[at] = value
        with pytest.raises(AnswerError, match="A ring lies round a place"):
            Ring(*numbers)

    @pytest.mark.parametrize("radius_px", [0, -1.0])
    def test_a_ring_without_a_radius(self, radius_px: float) -> None:
        with pytest.raises(AnswerError, match="a radius above 0"):
            Ring(1, 1, radius_px)

    @pytest.mark.parametrize("value", [NAN, INF, -INF, 1e6])
    @pytest.mark.parametrize("name", ["x_px", "y_px", "length_px", "angle_deg"])
    def test_an_added_speck_that_lies_nowhere(self, name: str, value: float) -> None:
        with pytest.raises(AnswerError, match="added speck"):
            added("t", **{name: value})

    def test_an_added_speck_of_less_than_no_length(self) -> None:
        assert added("t", length_px=0.0).length_px == 0
        with pytest.raises(AnswerError, match="has a length"):
            added("t", length_px=-0.1)


def said(number: int, word: str = "insect", reading: int = 1, candidate: int = 1, **more: Any) -> Said:
    return Said(
        number, more.pop("at", "2026-05-04T10:00:00Z"), "", answer(f"t{number}", word, candidate, reading=reading)
    )


HISTORIES = st.lists(
    st.tuples(
        st.sampled_from([*ANSWERS, TAKEN_BACK]),
        st.sampled_from([1, 2, 3]),
        st.integers(1, 3),
        st.sampled_from(["1999-01-01T00:00:00Z", "2026-05-04T10:00:00Z", "2199-12-31T23:59:59Z"]),
    ),
    max_size=12,
)


class TestTheLastWord:
    @given(acts=HISTORIES, chance=st.randoms(use_true_random=False))
    def test_is_the_one_with_the_highest_number_whatever_the_order_and_the_clock(self, acts: Any, chance: Any) -> None:
        record = [said(n, word, reading, candidate, at=at) for n, (word, reading, candidate, at) in enumerate(acts, 1)]
        # One person: taking back undoes the newest answer that has not been taken back, as undo does anywhere.
        stacks: dict[Key, list[Said]] = {}
        for each in record:
            stack = stacks.setdefault((each.answer.speck, each.answer.reading), [])
            if each.answer.answer:
                stack.append(each)
            elif stack:
                stack.pop()
        chance.shuffle(record)
        assert last_words(record) == {key: stack[-1] for key, stack in stacks.items() if stack}

    def test_taken_back_brings_back_what_was_said_before(self) -> None:
        first, back = said(1), said(3, TAKEN_BACK)
        assert last_words([first, said(2, "not_insect"), back]) == {(SPECK, 1): first}
        assert last_words([first, back]) == {}
        again = said(4, "look_again")
        assert last_words([first, back, again]) == {(SPECK, 1): again}

    def test_nobody_takes_back_what_another_said(self) -> None:
        first, other = said(1), said(2, "not_insect")
        other = replace(other, answer=replace(other.answer, reviewer="Somebody Else"))
        back = said(3, TAKEN_BACK)
        assert last_words([first, other, back]) == {(SPECK, 1): other}
        assert last_words([other, back]) == {(SPECK, 1): other}
        theirs = replace(back, answer=replace(back.answer, reviewer="somebody  else"))
        assert last_words([first, other, theirs]) == {(SPECK, 1): first}

    def test_readings_and_specks_stand_apart(self) -> None:
        record = [said(1), said(2, "not_insect", reading=2), said(3, TAKEN_BACK, reading=3), said(4, candidate=2)]
        other_run = replace(said(5), answer=answer(speck=SpeckId(SHOT, OTHER_RUN, 1)))
        other_shot = replace(said(6), answer=answer(speck=SpeckId(OTHER_SHOT, RUN, 1)))
        words = last_words([*record, other_run, other_shot])
        assert sorted(word.number for word in words.values()) == [1, 2, 4, 5, 6]
        assert words[SPECK, 2].number == 2

    def test_is_open_until_somebody_knows(self) -> None:
        assert is_open(None)
        assert is_open(said(1, "look_again"))
        assert not is_open(said(1, "insect"))
        assert not is_open(said(1, "not_insect"))


class TestFromPlainValues:
    def test_what_a_page_sends(self) -> None:
        assert answer_of(json.loads(json.dumps(COLONY))) == Answer(
            *(SPECK, "insect", "Ida"),
            kind="aphid",
            body="colony",
            basis="loupe",
            least=30,
            most=50,
            ring=Ring(10.5, 20.0, 4.25),
            token="t",
        )

    def test_what_may_be_left_out(self) -> None:
        bare = {name: value for name, value in PLAIN.items() if name not in ("reading", "token")}
        assert answer_of(bare) == Answer(SPECK, "not_insect", "Ida", reading=1, source=FROM_DESK)
        nothing = dict.fromkeys(("ring", "least", "most", "reading"))
        assert answer_of(bare | nothing) == answer_of(bare)

    def test_outer_spaces_fall_away(self) -> None:
        spaced = answer_of(COLONY | {"reviewer": " Ida\n", "kind": "\taphid ", "note": " \n"})
        assert (spaced.reviewer, spaced.kind, spaced.note) == ("Ida", "aphid", "")

    @pytest.mark.parametrize("name", sorted(PLAIN))
    @pytest.mark.parametrize("value", [True, 1.0, NAN, [], {}, [1]])
    def test_another_kind_of_value_is_named(self, name: str, value: object) -> None:
        kind = "a whole number" if type(PLAIN[name]) is int else "a text"
        with pytest.raises(AnswerError, match=f"^{name} is {kind}"):
            answer_of(PLAIN | {name: value})

    @pytest.mark.parametrize("name", ["least", "most"])
    @pytest.mark.parametrize("value", [True, 30.0, "30", [30]])
    def test_a_count_is_whole(self, name: str, value: object) -> None:
        with pytest.raises(AnswerError, match=f"^{name} is a whole number"):
            answer_of(COLONY | {name: value})

    @pytest.mark.parametrize("key", ["number", "at", "clock", "ring_x_px", "Answer", "", "\ud800", "x" * 5000])
    def test_an_unknown_key_is_named(self, key: str) -> None:
        with pytest.raises(AnswerError, match="An answer has no '") as refused:
            answer_of(PLAIN | {key: None})
        assert len(str(refused.value).encode()) < 100

    @pytest.mark.parametrize("missing", ["shot_sha256", "run", "candidate"])
    def test_a_speck_has_three_parts(self, missing: str) -> None:
        with pytest.raises(AnswerError, match="by shot_sha256, run and candidate"):
            answer_of({name: value for name, value in PLAIN.items() if name != missing})

    @pytest.mark.parametrize(
        "odd",
        [
            *({"shot_sha256": SHOT.upper()}, {"shot_sha256": SHOT[1:]}, {"shot_sha256": SHOT + "\n"}),
            *(
                {"shot_sha256": "\ud800" * 64},
                {"shot_sha256": "٣" * 64},
                {"run": ""},
                {"run": "r" * 81},
                {"run": "r\x00"},
            ),
            *({"run": "\ud800"}, {"candidate": -1}, {"candidate": 2**31}, {"candidate": 10**400}),
        ],
        ids=lambda odd: ascii(odd)[:40],
    )
    def test_a_speck_that_no_record_could_hold_is_refused(self, odd: dict[str, Any]) -> None:
        with pytest.raises(AnswerError):
            speck_of(PLAIN | odd)

    @pytest.mark.parametrize("reading", [0, 4, 10**400])
    def test_reading_nought_is_not_the_first(self, reading: int) -> None:
        with pytest.raises(AnswerError, match="There is no reading"):
            answer_of(PLAIN | {"reading": reading})

    @pytest.mark.parametrize("value", [NAN, INF, -INF, 10**400, -(10**400), True, None, "1", [1]])
    @pytest.mark.parametrize("name", ["x_px", "y_px", "radius_px"])
    def test_a_ring_of_odd_numbers_is_refused(self, name: str, value: object) -> None:
        with pytest.raises(AnswerError, match="A ring has x_px, y_px and a radius_px above 0"):
            answer_of(COLONY | {"ring": COLONY["ring"] | {name: value}})

    @pytest.mark.parametrize("ring", [[], {}, 1, "ring", True, {"x_px": 1, "y_px": 1}, COLONY["ring"] | {"z_px": 1}])
    def test_what_is_no_ring_is_refused(self, ring: object) -> None:
        with pytest.raises(AnswerError, match="A ring has"):
            answer_of(COLONY | {"ring": ring})

    @given(
        sent=st.dictionaries(st.sampled_from(sorted(COLONY)) | st.text(max_size=9), JSON, max_size=8),
        base=st.sampled_from([{}, PLAIN, COLONY]),
    )
    @settings(max_examples=200, deadline=None)
    def test_whatever_is_sent_gives_an_answer_or_a_sentence(self, sent: dict[str, Any], base: dict[str, Any]) -> None:
        sentence = "."
        try:
            assert answer_of(base | sent).reviewer.strip()
        except AnswerError as refused:
            sentence = str(refused)
        assert sentence[-1] == "."
        assert len(sentence.encode()) < 300

    @given(note=NOTES, name=NAMES)
    def test_any_script_may_be_written(self, note: str, name: str) -> None:
        given_back = answer_of(json.loads(json.dumps(PLAIN | {"note": note, "reviewer": name})))
        assert (given_back.note, given_back.reviewer) == (note.strip(), name.strip())


class TestTheSamePerson:
    @pytest.mark.parametrize(
        ("one", "other"),
        [
            *(("Ida", " ida "), ("Ida Berg", "IDA\t  BERG"), ("Ida Berg", "Ida\u00a0Berg"), ("Ida", "Ｉｄａ")),
            *(("Ren\u00e9", "RENE\u0301"), ("Groß", "GROSS"), ("Σίσυφος", "ΣΊΣΥΦΟΣ"), ("Ida", "I\u200bda\u200e")),
            # Greek with an iota below: Unicode's own example of why one fold is not enough.
            ("\u1f80", "\u1f00\u03b9"),
        ],
    )
    def test_however_it_is_typed(self, one: str, other: str) -> None:
        assert same_person(one, other)
        assert same_person(other, one)

    @pytest.mark.parametrize(("one", "other"), [("Ida", "Ada"), ("René", "Rene"), ("Ida B", "IdaB"), ("Ida", "Ida 2")])
    def test_two_people(self, one: str, other: str) -> None:
        assert not same_person(one, other)

    @given(name=NAMES)
    def test_does_not_hang_on_how_letters_are_coded(self, name: str) -> None:
        for form in ("NFC", "NFD", "NFKC", "NFKD"):
            assert same_person(name, f" {unicodedata.normalize(form, name)}\n")  # type: ignore[arg-type]
        assert same_person(name, name.casefold())


def test_an_added_speck_and_a_tool_s_are_specks_alike() -> None:
    assert isinstance(added("t"), Added)
    assert added("t").speck == speck_of(PLAIN | {"candidate": 0})
