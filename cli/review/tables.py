"""Tables both ways, between files and the record: `--take` and `--give`."""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from cli.exits import ALL_DONE, SOME_SHOTS_FAILED
from cli.review.answers import Answer, Key, Said, last_words, without_withdrawn
from cli.review.coco import coco_document
from cli.review.give import answered_table
from cli.review.second import standing, who_stands_in_the_way
from cli.review.shelf import Shelf
from cli.review.store import Store
from cli.review.take import Taken, sheet_of, take
from cli.review.words import catalogue, say, say_many
from vision.errors import CallError, TableError
from vision.files import read_bytes, write_bytes, write_json


def take_file(shelf: Shelf, url: str, path: Path, reviewer: str) -> int:
    """Puts the answers of a filled-in table into the record and says what became of each row; 1 where a row was refused.

    An answer that stands already is not repeated, so the same file may be taken twice. Raises CallError where the file is no table.
    """
    words = catalogue()
    if not path.is_file():
        raise CallError(f"--take: there is no file {path}.")
    try:
        sheet = sheet_of(read_bytes(path))
    except TableError as error:
        raise CallError(f"--take: {path.name}: {error}") from None
    store = Store(url)
    try:
        added = without_withdrawn(store.added(shelf.run), store.said({shelf.run}))
        taken = take(sheet, shelf, reviewer, [each.speck for each in added])
        before = last_words(store.said({shelf.run}))
        new = [answer for answer in taken.answers if not _stands(answer, before)]
        # Nobody is a second pair of eyes to themselves, by way of a table either.
        own = [each for each in new if who_stands_in_the_way(each.speck, each.reading, each.reviewer, before)]
        new = [answer for answer in new if answer not in own]
        for answer in new:
            store.add_answer(_after(answer, before))
    finally:
        store.close()
    for answer in own:
        shot, candidate = shelf.by_sha256[answer.speck.shot_sha256].name, answer.speck.candidate
        print(say(words, "tables.own_eyes", candidate=candidate, shot=shot, name=answer.reviewer), file=sys.stderr)
    _tell(taken, len(new), len(own), words, path)
    return SOME_SHOTS_FAILED if taken.refused or own else ALL_DONE


def give_file(shelf: Shelf, url: str, path: Path) -> int:
    """Writes what was answered: a .csv is the table of candidates with the answers, a .json is COCO. Raises CallError for any other."""
    if path.suffix.lower() not in (".csv", ".json"):
        raise CallError("--give writes a .csv (the table) or a .json (COCO).")
    if path.exists():
        raise CallError(f"--give: {path} is there already, and may hold a person's words. Give another name.")
    store = Store(url)
    try:
        added = without_withdrawn(store.added(shelf.run), store.said({shelf.run}))
        said = last_words(store.said({shelf.run}))
    finally:
        store.close()
    specks = [*shelf.flags, *(each.speck for each in added)]
    words = {speck: word for speck in specks if (word := standing(speck, said, frozenset()).word) is not None}
    if path.suffix.lower() == ".csv":
        write_bytes(path, answered_table(shelf, words, added))
    else:
        write_json(path, coco_document(shelf, words, added))
    print(say_many(catalogue(), "tables.given", len(words), path=path, of=len(specks)))
    return ALL_DONE


def _stands(answer: Answer, before: Mapping[Key, Said]) -> bool:
    """Whether the last word on the speck says the same, whatever way it came."""
    word = before.get((answer.speck, answer.reading))
    return word is not None and _content(word.answer) == _content(answer)


def _content(answer: Answer) -> Answer:
    # A table holds rings with one decimal.
    ring = answer.ring and replace(answer.ring, **{name: round(value, 1) for name, value in vars(answer.ring).items()})
    return replace(answer, ring=ring, source="table", token="")


def _after(answer: Answer, before: Mapping[Key, Said]) -> Answer:
    """The answer with a token that holds what it comes after: so a change back to an earlier answer is an act of its own."""
    word = before.get((answer.speck, answer.reading))
    number = word.number if word else 0
    return replace(answer, token="table-" + hashlib.sha256(f"{answer.token} after {number}".encode()).hexdigest()[:40])


def _tell(taken: Taken, new: int, own: int, words: Mapping[str, str], path: Path) -> None:
    for notice in taken.notices:
        print(notice, file=sys.stderr)
    for refusal in taken.refused:
        print(say(words, "tables.row", n=refusal.row, why=refusal.sentence), file=sys.stderr)
    print(say_many(words, "tables.taken", new, path=path))
    if len(taken.answers) > new + own:
        print(say_many(words, "tables.stood", len(taken.answers) - new - own))
    if taken.unanswered:
        print(say_many(words, "tables.unanswered", taken.unanswered))
    if taken.refused or own:
        print(say_many(words, "tables.refused", len(taken.refused) + own))
