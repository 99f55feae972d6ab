"""Answers -> one document in the COCO object-detection format (info, licenses, images, annotations, categories).

Our coordinates are those of pixels' centres: the middle of the first column is 0. COCO's run along pixels' edges: the first column
covers 0 to 1. So a box starts at x = left_px, y = top_px, and a centre or ring moves by half a pixel.

Who answered and what they noted stays out: such a document is made to be handed on.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from cli.review.answers import COLONY, INSECT, Added, Answer, Ring, Said, SpeckId, is_open
from cli.review.give import added_to, best_first, square_round, word_on
from cli.review.shelf import DeskShot, Shelf
from vision.names import ANIMALS, TRAIL

Box = tuple[float, float, float, float]
"""COCO's: left edge, top edge, width, height in px."""
_Speck = tuple[SpeckId, Box, str]
"""Which, where, and who found it: tool or person."""
KIND_NOT_SAID, OTHER = "insect, kind not said", "not an insect"
_ID_KIND_NOT_SAID, _ID_OTHER, _FIRST_KNOWN, _FIRST_FREE = 1, 2, 11, 101
# New animals come last in their list, so each keeps its number.
_KNOWN_KINDS = {kind: _FIRST_KNOWN + k for k, kind in enumerate((TRAIL, *ANIMALS))}
_SPECKS_PER_SHOT = 1_000_000
"""More than any candidate's number: image and candidate make one number, which a float64 still holds exactly."""


def coco_document(shelf: Shelf, words: Mapping[SpeckId, Said], added: Sequence[Added]) -> dict[str, Any]:
    """The document as plain values for json. An annotation for every speck that was answered insect or not_insect.

    What is to be looked at again, and what nobody has answered, is listed with its image instead: whoever learns from it should not
    take those places as empty. An image's number comes from the photograph's hash and an annotation's from it and the candidate, so
    more shots and more answers leave them as they are.
    """
    specks = {shot.sha256: list(_specks(shelf, shot, added)) for shot in shelf.shots}
    # The record may hold words on other runs.
    own = (word_on(speck, words) for each in specks.values() for speck, _, _ in each)
    said = {word.answer.speck: word for word in own if word is not None}
    kinds = _kinds(word.answer for word in said.values())
    image_ids = _image_ids(shelf.shots)
    return {
        "info": _info(shelf, said),
        "licenses": [],
        "images": [{**_image(image_ids[s.sha256], s), **_open(specks[s.sha256], said)} for s in shelf.shots],
        "annotations": [
            _annotation(image_ids[shot.sha256], shot, said[speck], box, found_by, kinds)
            for shot in shelf.shots
            for speck, box, found_by in specks[shot.sha256]
            if not is_open(said.get(speck))
        ],
        "categories": [
            {"id": _ID_KIND_NOT_SAID, "name": KIND_NOT_SAID, "supercategory": "insect"},
            {"id": _ID_OTHER, "name": OTHER, "supercategory": "other"},
            *({"id": number, "name": name, "supercategory": "insect"} for number, name in sorted(kinds.values())),
        ],
    }


def _info(shelf: Shelf, said: Mapping[SpeckId, Said]) -> dict[str, str]:
    return {
        "description": "What persons answered for flagged specks on photographs of produce.",
        "version": shelf.version,
        "run": shelf.run,
        "date_created": max((word.at for word in said.values()), default=""),
        "coordinates": "Pixels' edges: the first column covers x from 0 to 1. Boxes only: segmentation is empty, area is the box's.",
    }


def _open(specks: Iterable[_Speck], said: Mapping[SpeckId, Said]) -> dict[str, list[dict[str, Any]]]:
    listed: dict[str, list[dict[str, Any]]] = {"look_again": [], "unanswered": []}
    for speck, box, found_by in specks:
        if is_open(said.get(speck)):
            where = {"candidate": speck.candidate, "bbox": list(box), "found_by": found_by}
            listed["look_again" if speck in said else "unanswered"].append(where)
    return listed


def _image_ids(shots: Iterable[DeskShot]) -> dict[str, int]:
    """31 bits of each hash; where two share them, the later hash takes the next number."""
    ids: dict[str, int] = {}
    taken = {0}
    for sha256 in sorted(shot.sha256 for shot in shots):
        number = int(sha256[:8], 16) >> 1
        while number in taken:
            number += 1
        taken.add(number)
        ids[sha256] = number
    return ids


def _image(image_id: int, shot: DeskShot) -> dict[str, Any]:
    width, height = shot.size_px
    return {
        "id": image_id,
        "file_name": shot.picture,
        "width": width,
        "height": height,
        "date_captured": shot.cells.get("taken_at", ""),
        "shot": shot.name,
        "sha256": shot.sha256,
        "px_per_mm": shot.px_per_mm,
    }


def _specks(shelf: Shelf, shot: DeskShot, added: Sequence[Added]) -> Iterator[_Speck]:
    for flag in best_first(shot):
        yield flag.speck, flag.box_px, "tool"
    for each in added_to(shot, shelf.run, added):
        yield each.speck, square_round(each, shot.size_px), "person"


def _annotation(
    image_id: int, shot: DeskShot, said: Said, box: Box, found_by: str, kinds: Mapping[str, tuple[int, str]]
) -> dict[str, Any]:
    answer = said.answer
    if answer.ring is not None:
        box = _box_of(answer.ring, shot.size_px) or box
    return {
        "id": image_id * _SPECKS_PER_SHOT + answer.speck.candidate,
        "image_id": image_id,
        "category_id": _category_id(answer, kinds),
        "bbox": list(box),
        "area": box[2] * box[3],
        "segmentation": [],
        "iscrowd": int(answer.body == COLONY),
        "attributes": _attributes(said, found_by),
    }


def _attributes(said: Said, found_by: str) -> dict[str, Any]:
    answer, ring = said.answer, said.answer.ring
    return {
        "candidate": answer.speck.candidate,
        "run": answer.speck.run,
        "found_by": found_by,
        "answer": answer.answer,
        "kind": answer.kind,
        "body": answer.body,
        "basis": answer.basis,
        "unaided": answer.unaided,
        "count_least": answer.least,
        "count_most": answer.most,
        "ring": None if ring is None else [ring.x_px + 0.5, ring.y_px + 0.5, ring.radius_px],
        "answered_at": said.at,
        "reading": answer.reading,
    }


def _box_of(ring: Ring, size_px: tuple[int, int]) -> Box | None:
    """The box round a ring within the picture; None where they do not meet."""
    spans = []
    for centre, size in zip((ring.x_px + 0.5, ring.y_px + 0.5), size_px, strict=True):
        first, last = max(centre - ring.radius_px, 0.0), min(centre + ring.radius_px, float(size))
        spans.append((first, last - first))
    (left, wide), (top, high) = spans
    return (left, top, wide, high) if wide > 0 and high > 0 else None


def _category_id(answer: Answer, kinds: Mapping[str, tuple[int, str]]) -> int:
    if answer.answer != INSECT:
        return _ID_OTHER
    return kinds[_folded(answer.kind)][0] if answer.kind.strip() else _ID_KIND_NOT_SAID


def _kinds(answers: Iterable[Answer]) -> dict[str, tuple[int, str]]:
    """Number and name of every kind that was answered, by its folded name: one kind however its letters were written."""
    spellings: dict[str, set[str]] = {}
    for answer in answers:
        if answer.answer == INSECT and answer.kind.strip():
            spellings.setdefault(_folded(answer.kind), set()).add(" ".join(answer.kind.split()))
    free = sorted(spellings.keys() - _KNOWN_KINDS.keys())
    return {
        **{key: (number, key) for key, number in _KNOWN_KINDS.items() if key in spellings},
        **{key: (_FIRST_FREE + k, min(spellings[key])) for k, key in enumerate(free)},
    }


def _folded(kind: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", kind).casefold().split())
