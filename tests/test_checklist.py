"""The checklist: which faces of which piece nobody has seen, what the sample lacks, what was removed."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_guides import as_toml, least
from test_house import forbidden

from vision.guides import Guide, guide_names, load_guide, parse_guide
from vision.guides.checklist import NO_PIECE, NO_VIEW, Checklist, Face, checklist
from vision.guides.views import VIEWS

GUIDES = [load_guide(name) for name in guide_names()]
BROCCOLI, SCALLION, ASPARAGUS, MUSHROOM, BERRIES = (
    load_guide(name) for name in ("broccoli", "scallion", "asparagus", "mushroom", "berries")
)


def faces(*pairs: tuple[str, str]) -> tuple[Face, ...]:
    return tuple(Face(*pair) for pair in pairs)


class TestPieces:
    def test_a_face_that_nobody_has_seen_is_named(self) -> None:
        told = checklist(BROCCOLI, {"1": {"underside", "opened"}, "2": {"underside"}, "3": (), NO_PIECE: {"blank"}})
        assert told.unseen == faces(("2", "opened"), ("3", "underside"), ("3", "opened"))
        assert told.missing == ()
        assert told.sentences[:2] == (
            "Piece 2: not seen yet: opened (opened halves side by side).",
            "Piece 3: not seen yet: underside (pieces in rows, underside up), opened (opened halves side by side).",
        )

    def test_pieces_alike_stand_together_and_in_order(self) -> None:
        told = checklist(BROCCOLI, {piece: {"blank", "underside"} for piece in ("10", "2", "b", "1", "a2", "a10")})
        assert [face.piece for face in told.unseen] == ["1", "2", "10", "a2", "a10", "b"]
        assert told.sentences[0].startswith("Pieces 1, 2, 10, a2, a10, b: not seen yet: opened (")

    def test_shots_that_name_no_piece_count_where_none_is_named(self) -> None:
        assert checklist(BROCCOLI, {NO_PIECE: {"blank", "underside"}}).unseen == faces((NO_PIECE, "opened"))
        assert not checklist(BROCCOLI, {NO_PIECE: {"blank", "underside", "opened"}}).has_gaps

    def test_they_count_for_no_piece_that_is_named(self) -> None:
        told = checklist(BROCCOLI, {"1": {"underside"}, NO_PIECE: {"blank", "opened", "water"}})
        assert told.unseen == faces(("1", "opened"))
        assert told.uncounted == faces((NO_PIECE, "opened"))
        assert "What names no piece: counted for nothing: opened (opened halves side by side)." in told.sentences

    def test_nothing_at_all_lacks_all(self) -> None:
        told = checklist(BROCCOLI, {})
        assert told.unseen == faces((NO_PIECE, "underside"), (NO_PIECE, "opened"))
        assert told.missing == ("blank",)

    @pytest.mark.parametrize(
        "shown", [{"underside"}, {"opened"}, {"layers", "onblack"}, {NO_VIEW}, {"untouched"}, {"water", "blank"}]
    )
    def test_an_untouched_spear_is_never_counted(self, shown: set[str]) -> None:
        told = checklist(ASPARAGUS, {"1": shown})
        assert told.unseen == faces(("1", "peelings"))
        assert {face.view for face in told.uncounted} == shown - {"water", "blank"}

    def test_what_adds_to_the_look_is_never_asked_for(self) -> None:
        told = checklist(BROCCOLI, {"1": {"blank", "underside", "opened", "water"}})
        assert (told.has_gaps, told.uncounted) == (False, ())

    def test_a_find_s_card_is_no_look_at_the_piece(self) -> None:
        told = checklist(BROCCOLI, {"1": {"blank", "card"}})
        assert told.unseen == faces(("1", "underside"), ("1", "opened"))
        assert told.uncounted == ()


class TestTheSample:
    def test_the_blank_comes_first(self) -> None:
        told = checklist(SCALLION, {"1": {"layers", "onblack", "water"}})
        assert told.missing == ("blank", "swirl")
        assert told.sentences[:2] == (
            "No shot yet of the sample: blank (the wiped tray in fresh water). It comes before all others.",
            "No shot yet of the sample: swirl (the same once more: swirled, and still again).",
        )

    def test_the_blank_comes_first_wherever_a_guide_has_it(self) -> None:
        leek = parse_guide(
            "leek", as_toml(least(views=["layers", "water", "swirl", "blank"], sample=["water", "swirl", "blank"]))
        )
        assert checklist(leek, {}).missing == ("blank", "water", "swirl")

    def test_its_shots_may_stand_under_any_piece(self) -> None:
        told = checklist(SCALLION, {"1": {"layers", "onblack", "blank"}, "2": {"layers", "onblack", "swirl", "water"}})
        assert not told.has_gaps

    def test_it_may_be_all_that_is_asked_for(self) -> None:
        told = checklist(BERRIES, {NO_PIECE: {"blank", "water", "swirl"}})
        assert (told.unseen, told.missing) == ((), ("cloth",))

    def test_no_gaps_is_no_finding(self) -> None:
        told = checklist(BERRIES, {NO_PIECE: {"blank", "water", "swirl", "cloth"}})
        assert told.sentences == (
            "Each view that the guide asks for has a shot. What a shot does not show, nobody has seen.",
            "A drawn sample: nothing is known of the pieces that were not drawn.",
        )

    def test_every_piece_is_more_than_those_named(self) -> None:
        assert "one that neither shot nor log names is not in this list" in checklist(BROCCOLI, {}).sentences[-1]


class TestRemoved:
    def test_the_shot_of_what_came_off_takes_the_place_of_what_nobody_sees_any_more(self) -> None:
        seen = {"1": {"blank", "opened"}, "2": set[str]()}
        assert checklist(MUSHROOM, seen).unseen == faces(("2", "opened"))
        told = checklist(MUSHROOM, seen, removed=["2"])
        assert (told.unseen, told.removed) == (faces(("2", "peelings")), ("2",))
        assert "Piece 2: removed. That is an outcome, not a finding of none." in told.sentences
        assert not checklist(MUSHROOM, {**seen, "2": {"peelings"}}, removed=["2"]).has_gaps

    def test_what_is_left_is_still_looked_at(self) -> None:
        told = checklist(SCALLION, {"1": {"peelings"}}, removed=["1"])
        assert told.unseen == faces(("1", "layers"), ("1", "onblack"))

    def test_of_a_piece_thrown_out_only_its_shot_is_asked(self) -> None:
        told = checklist(SCALLION, {"1": ()}, thrown_out=["1"])
        assert (told.unseen, told.removed) == (faces(("1", "peelings")), ("1",))
        both = checklist(SCALLION, {"1": {"peelings"}}, removed=["1"], thrown_out=["1"])
        assert (both.unseen, both.removed) == ((), ("1",))

    def test_the_shot_is_asked_for_once(self) -> None:
        assert checklist(ASPARAGUS, {"1": ()}, removed=["1"]).unseen == faces(("1", "peelings"))

    def test_a_piece_that_only_the_log_names_is_one(self) -> None:
        told = checklist(MUSHROOM, {NO_PIECE: {"blank"}}, removed=["7"])
        assert told.unseen == faces(("7", "peelings"))


@st.composite
def samples(draw: st.DrawFn) -> tuple[Guide, dict[str, set[str]], set[str], set[str]]:
    names = st.sampled_from([NO_PIECE, "1", "2", "10", "a"])
    views = st.sampled_from([*VIEWS, NO_VIEW, "untouched"])
    seen = draw(st.dictionaries(names, st.sets(views, max_size=6), max_size=4))
    return draw(st.sampled_from(GUIDES)), seen, draw(st.sets(names, max_size=2)), draw(st.sets(names, max_size=2))


def of(sample: tuple[Guide, dict[str, set[str]], set[str], set[str]], *more: tuple[str, str]) -> Checklist:
    guide, seen, removed, thrown_out = sample
    added = {piece: views | {view for whose, view in more if whose == piece} for piece, views in seen.items()}
    return checklist(guide, added, removed=removed, thrown_out=thrown_out)


class TestForEverySample:
    @settings(deadline=None)
    @given(samples(), st.sampled_from([*VIEWS, NO_VIEW, "untouched"]), st.data())
    def test_adding_a_view_never_adds_a_gap(
        self, sample: tuple[Guide, dict[str, set[str]], set[str], set[str]], view: str, data: st.DataObject
    ) -> None:
        if sample[1]:
            piece = data.draw(st.sampled_from(sorted(sample[1])))
            before, after = of(sample), of(sample, (piece, view))
            assert set(after.unseen) <= set(before.unseen)
            assert set(after.missing) <= set(before.missing)
            assert after.removed == before.removed

    @settings(deadline=None)
    @given(samples())
    def test_shooting_what_is_lacking_leaves_no_gap(
        self, sample: tuple[Guide, dict[str, set[str]], set[str], set[str]]
    ) -> None:
        guide, seen, removed, thrown_out = sample
        first = of(sample)
        every = {face.piece for face in first.unseen} | ({NO_PIECE} if first.missing else set())
        whole = (guide, {piece: seen.get(piece, set()) for piece in [*seen, *every]}, removed, thrown_out)
        shot = of(
            whole, *((face.piece, face.view) for face in first.unseen), *((NO_PIECE, view) for view in first.missing)
        )
        assert not shot.has_gaps

    @settings(deadline=None)
    @given(samples())
    def test_a_removal_is_always_told_and_takes_nothing_else_away(
        self, sample: tuple[Guide, dict[str, set[str]], set[str], set[str]]
    ) -> None:
        guide, seen, removed, thrown_out = sample
        told, without = of(sample), checklist(guide, {**{piece: set() for piece in removed}, **seen})
        assert set(told.removed) == removed | thrown_out
        gone = set(without.unseen) - set(told.unseen)
        for face in gone - {face for face in gone if face.piece in thrown_out or face.piece == NO_PIECE}:
            assert face.piece in removed
            assert face.view in guide.removes.instead_of

    @settings(deadline=None)
    @given(samples())
    def test_sentences_name_each_gap_and_hold_no_forbidden_word(
        self, sample: tuple[Guide, dict[str, set[str]], set[str], set[str]]
    ) -> None:
        told = of(sample)
        said = " ".join(told.sentences)
        assert all(face.view in said and face.piece in said for face in told.unseen)
        assert all(view in said for view in told.missing)
        assert [word for line in told.sentences for word in forbidden(line)] == []
        assert (
            any(line.startswith("Each view that the guide asks for has a shot.") for line in told.sentences)
            != told.has_gaps
        )
