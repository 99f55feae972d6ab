"""The COCO document: read back by the format's own reader, and what stands in it."""

from __future__ import annotations

import io
import json
from contextlib import redirect_stdout
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_shelf import ADDED, BARE, FIRST, POINT, RUN, SECOND, SHELF, SIZE_PX, speck, words_of
from pycocotools.coco import COCO
from pycocotools.cocoeval import COCOeval

from cli.review.answers import TAKEN_BACK, Answer, Ring, Said, SpeckId
from cli.review.coco import KIND_NOT_SAID, OTHER, coco_document
from cli.review.shelf import Shelf

APHID = Answer(speck(1), "insect", "Ida", kind="aphid", body="whole", basis="loupe", unaided="no", note="secret")
SOME = Answer(speck(2), "insect", "Ida")
BIT = Answer(speck(3), "not_insect", "Ida", basis="in_hand")
COLONY = Answer(
    speck(1, SECOND), "insect", "Jon", kind="Aphid", body="colony", least=20, most=30, ring=Ring(500.0, 300.0, 40.0)
)
AGAIN = Answer(speck(2, SECOND), "look_again", "Jon")
BY_HAND = Answer(ADDED.speck, "insect", "Ida", kind="flea beetle", body="part")
ALL = (APHID, SOME, BIT, COLONY, AGAIN, BY_HAND)


def document(*answers: Answer, shelf: Shelf = SHELF) -> dict[str, Any]:
    return coco_document(shelf, words_of(*answers), [POINT, ADDED])


@pytest.fixture(scope="module")
def read(tmp_path_factory: pytest.TempPathFactory) -> COCO:
    """The document as the format's own reader has it."""
    path: Path = tmp_path_factory.mktemp("coco") / "answers.json"
    path.write_text(json.dumps(document(*ALL)), encoding="utf-8")
    with redirect_stdout(io.StringIO()):
        return COCO(str(path))


def annotation_of(told: dict[str, Any], answer: Answer) -> dict[str, Any]:
    image_id = next(i["id"] for i in told["images"] if i["sha256"] == answer.speck.shot_sha256)
    of_image = (a for a in told["annotations"] if a["image_id"] == image_id)
    return next(a for a in of_image if a["attributes"]["candidate"] == answer.speck.candidate)


class TestReadByTheFormatsOwnReader:
    def test_images(self, read: COCO) -> None:
        images = {image["sha256"]: image for image in read.loadImgs(read.getImgIds())}
        assert {sha256: (i["shot"], i["width"], i["height"]) for sha256, i in images.items()} == {
            FIRST: ("=tray 1.jpg", *SIZE_PX),
            SECOND: ("tray 2.jpg", *SIZE_PX),
            BARE: ("tray 3.jpg", *SIZE_PX),
        }
        assert {i["file_name"] for i in images.values()} == {shot.picture for shot in SHELF.shots}

    def test_annotations_by_category(self, read: COCO) -> None:
        def answered(name: str) -> list[tuple[str, int]]:
            found = read.loadAnns(read.getAnnIds(catIds=read.getCatIds(catNms=[name])))
            shots = {image["id"]: image["sha256"] for image in read.dataset["images"]}
            return sorted((shots[a["image_id"]], a["attributes"]["candidate"]) for a in found)

        assert answered("aphid") == [(SECOND, 1), (FIRST, 1)]
        assert answered(KIND_NOT_SAID) == [(FIRST, 2)]
        assert answered(OTHER) == [(FIRST, 3)]
        assert answered("flea beetle") == [(FIRST, 100001)]
        assert len(read.getAnnIds()) == 5
        insects = read.getCatIds(supNms=["insect"])
        assert len(read.getAnnIds(catIds=insects, iscrowd=0)) == 3

    def test_crowds(self, read: COCO) -> None:
        (crowd,) = read.loadAnns(read.getAnnIds(iscrowd=1))
        assert (crowd["attributes"]["count_least"], crowd["attributes"]["count_most"]) == (20, 30)

    def test_boxes_that_are_found_again_score_in_full(self, read: COCO) -> None:
        found = [
            {"image_id": a["image_id"], "category_id": a["category_id"], "bbox": a["bbox"], "score": 0.9}
            for a in read.dataset["annotations"]
            if not a["iscrowd"]
        ]
        with redirect_stdout(io.StringIO()):
            scored = COCOeval(read, read.loadRes(found), "bbox")
            scored.evaluate()
            scored.accumulate()
            scored.summarize()
        assert scored.stats[0] == pytest.approx(1.0)


class TestWhatStandsInIt:
    def test_the_box_of_a_flag_starts_at_its_first_column(self) -> None:
        annotation = annotation_of(document(*ALL), APHID)
        left, top, wide, high = SHELF.flags[APHID.speck].box_px
        assert annotation["bbox"] == [left, top, wide, high]
        assert annotation["area"] == wide * high
        # Our centre is that of a pixel; half a pixel on, it lies in the middle of the box as COCO counts.
        assert left <= SHELF.flags[APHID.speck].x_px + 0.5 <= left + wide

    def test_the_box_of_a_colony_is_that_of_its_ring(self) -> None:
        told = document(COLONY, replace(COLONY, speck=speck(2, SECOND), ring=None))
        assert annotation_of(told, COLONY)["bbox"] == [460.5, 260.5, 80.0, 80.0]
        assert annotation_of(told, COLONY)["attributes"]["ring"] == [500.5, 300.5, 40.0]
        bare = annotation_of(told, replace(COLONY, speck=speck(2, SECOND)))
        assert (tuple(bare["bbox"]), bare["iscrowd"]) == (SHELF.flags[speck(2, SECOND)].box_px, 1)

    @pytest.mark.parametrize(
        ("ring", "box"),
        [(Ring(9.5, 1199.5, 20.0), [0.0, 1180.0, 30.0, 20.0]), (Ring(-90.0, 10.0, 5.0), [503, 294, 18, 12])],
    )
    def test_a_ring_is_cut_off_at_the_picture(self, ring: Ring, box: list[float]) -> None:
        answer = replace(COLONY, ring=ring)
        assert annotation_of(document(answer), answer)["bbox"] == box

    def test_what_was_said_without_who_said_it(self) -> None:
        told = document(*ALL)
        assert annotation_of(told, APHID)["attributes"] == {
            "candidate": 1,
            "run": RUN,
            "found_by": "tool",
            "answer": "insect",
            "kind": "aphid",
            "body": "whole",
            "basis": "loupe",
            "unaided": "no",
            "count_least": None,
            "count_most": None,
            "ring": None,
            "answered_at": "2025-04-02T09:00:01Z",
            "reading": 1,
        }
        assert annotation_of(told, BY_HAND)["attributes"]["found_by"] == "person"
        assert not any(word in json.dumps(told) for word in ("Ida", "Jon", "secret"))

    def test_what_is_still_open_is_listed_with_its_image(self) -> None:
        told = document(*ALL)
        images = {image["sha256"]: image for image in told["images"]}
        where = {"candidate": 2, "bbox": list(SHELF.flags[AGAIN.speck].box_px), "found_by": "tool"}
        assert images[SECOND]["look_again"] == [where]
        assert [each["candidate"] for each in images[SECOND]["unanswered"]] == [100001]
        assert images[FIRST]["look_again"] == images[FIRST]["unanswered"] == images[BARE]["unanswered"] == []

    def test_one_kind_however_it_was_written(self) -> None:
        other = replace(BY_HAND, speck=speck(2, SECOND), kind=" Flea  Beetle")
        told = document(*ALL[:-2], BY_HAND, other)
        assert [(c["id"], c["name"], c["supercategory"]) for c in told["categories"]] == [
            *((1, KIND_NOT_SAID, "insect"), (2, OTHER, "other"), (12, "aphid", "insect")),
            (101, "Flea Beetle", "insect"),
        ]

    def test_nothing_answered_is_a_document_too(self) -> None:
        told = document()
        assert told["annotations"] == []
        assert [c["name"] for c in told["categories"]] == [KIND_NOT_SAID, OTHER]
        assert [len(image["unanswered"]) for image in told["images"]] == [4, 3, 0]
        assert told["info"]["date_created"] == ""

    def test_words_taken_back_or_of_another_run_are_none(self) -> None:
        other = replace(APHID, kind="thrips", speck=SpeckId(FIRST, "rffffffffffff", 1))
        assert document(Answer(speck(1), TAKEN_BACK, "Ida"), other) == document()


class TestNumbers:
    def test_stay_when_shots_and_answers_are_added(self) -> None:
        part = replace(SHELF, shots=SHELF.shots[1:])
        less, more = document(COLONY, shelf=part), document(*ALL)
        for name in ("images", "annotations"):
            assert {each["id"] for each in less[name]} < {each["id"] for each in more[name]}
        assert annotation_of(less, COLONY)["id"] == annotation_of(more, COLONY)["id"]

    def test_are_exact_where_they_are_kept_as_decimals(self) -> None:
        assert all(float(a["id"]) == a["id"] < 2**53 and a["id"] > 0 for a in document(*ALL)["annotations"])

    def test_of_two_hashes_that_begin_alike_differ(self) -> None:
        shots = [
            replace(shot, cells={**shot.cells, "shot_sha256": "00000000" + f"{k:056x}"}, flags=())
            for k, shot in enumerate(SHELF.shots)
        ]
        ids = [image["id"] for image in document(shelf=replace(SHELF, shots=tuple(shots)))["images"]]
        assert ids == [1, 2, 3]

    @given(order=st.permutations(ALL))
    @settings(max_examples=10, deadline=None)
    def test_do_not_depend_on_the_order_of_answers(self, order: list[Answer]) -> None:
        words = {answer.speck: Said(1, "2025-04-02T09:00:00Z", "", answer) for answer in order}
        told = coco_document(SHELF, words, [ADDED, POINT])
        first = {answer.speck: Said(1, "2025-04-02T09:00:00Z", "", answer) for answer in ALL}
        assert json.dumps(told) == json.dumps(coco_document(SHELF, first, [POINT, ADDED]))
