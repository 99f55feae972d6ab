"""The desk itself, apart from any socket: what a page is told, and what becomes of what a person does there."""

from __future__ import annotations

import secrets
import threading
import unicodedata
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cached_property
from typing import Any

from cli.lots.entries import Correction
from cli.lots.gather import Heard, put_right
from cli.review.answers import (
    FIRST_ADDED,
    LONGEST_NAME,
    LONGEST_TOKEN,
    LOOK_AGAIN,
    READINGS,
    Added,
    Answer,
    AnswerError,
    Key,
    Said,
    SpeckId,
    WrongDesk,
    answer_of,
    check_name,
    is_open,
    last_words,
    same_person,
    speck_of,
    without_withdrawn,
)
from cli.review.counts import count
from cli.review.earlier import LEAST_REACH_PX, found_again
from cli.review.pictures import Pictures, PictureTrouble
from cli.review.second import drawn, of_reading, standing, who_stands_in_the_way
from cli.review.shelf import DeskShot, Flag, Shelf
from cli.review.store import Look, SecondReading, Shown, Store

_LEAST_BOX_PX = 12
_OF_PLACE = ("candidate", "x_px", "y_px", "left_px", "top_px", "wide_px", "high_px")
_TOLD = ("resembles", "why", "score", "length_mm", "width_mm", "size_uncertainty")
_OF_SHOT = (
    "lot",
    "sample",
    "piece",
    "view",
    "limit_round_mm",
    "limit_linear_mm",
    "unsearched_pct",
    "usable",
    "reasons",
)
_LONGEST_LOOK_S = 1e6
_TOO_LARGE = 1e9
_OF_ANSWER = ("answer", "reviewer", "kind", "body", "basis", "unaided", "least", "most", "note")


class Desk:
    """One scored folder under review. Methods take and give plain values; they raise AnswerError for what can't be meant,
    PictureTrouble for a speck whose picture can't be shown, and what the store raises."""

    def __init__(self, shelf: Shelf, store: Store, reviewer: str = "") -> None:
        self.shelf = shelf
        self.store = store
        self.pictures = Pictures(shelf.folder)
        self._reviewer = reviewer
        self._heard: tuple[Said, ...] = ()
        self._hearing = threading.Lock()
        store.note_shown(self._shown.values())

    @cached_property
    def _shown(self) -> dict[SpeckId, Shown]:
        return {speck: _shown(flag) for speck, flag in self.shelf.flags.items()}

    @cached_property
    def earlier(self) -> dict[SpeckId, Said]:
        """Answers of other runs on specks found again here."""
        before = self.store.shown_before(frozenset(self.shelf.by_sha256), self.shelf.run)
        words = last_words(self.store.said({each.speck.run for each in before}))
        return found_again(self._shown.values(), before, words)

    def opening(self) -> dict[str, Any]:
        """What a page needs before it knows who sits there."""
        readings = self.second_readings()
        return {
            "run": self.shelf.run,
            "version": self.shelf.version,
            "folder": self.shelf.folder.name,
            "reviewer": self._reviewer,
            "readings": [1] + ([2, 3] if readings else []),
            "failed": dict(self.shelf.failed),
            "twins": dict(self.shelf.twins),
        }

    def shots(self, reading: int, reviewer: str) -> dict[str, Any]:
        """The shots and flags of a reading for a person, and what was answered in it. Not what the tool thinks of a flag, and nothing of
        other readings. Raises AnswerError for a name that can't be a person's."""
        check_name(reviewer, "Answers need the name of who gives them.")
        words, added = self._words(), self._added()
        wanted = frozenset(self._specks_of(reading, words, added))
        kept = {s for s in wanted if not who_stands_in_the_way(s, reading, reviewer, words)}
        by_shot: dict[str, list[Added]] = {}
        for each in added:
            by_shot.setdefault(each.speck.shot_sha256, []).append(each)
        looks = self.store.looks(self.shelf.run)
        looked = {e.shot_sha256 for e in looks if e.reading == reading and same_person(e.reviewer, reviewer)}
        right = self._put_right()
        shots = [
            self._shot(shot, by_shot.get(shot.sha256, []), kept, reading, right.get(shot.sha256, {}))
            | {"looked": shot.sha256 in looked}
            for shot in self.shelf.shots
        ]
        said = [self._told(word) for (speck, of), word in words.items() if of == reading and speck in kept]
        return {
            # In a later reading a shot without a flag of it is no part of it.
            "shots": [shot for shot in shots if reading == 1 or shot["flags"]],
            "said": said,
            "yours_before": len(wanted) - len(kept),
            "last": max((each["number"] for each in said), default=0),
        }

    def said(self, reading: int, after: int) -> dict[str, Any]:
        """What was answered in a reading after a number, by whomever, and the specks that were added."""
        every_word = self._said()
        new = [each for each in every_word if each.number > after and each.answer.reading == reading]
        every = self.store.added(self.shelf.run) if reading == 1 else []
        added = without_withdrawn(every, every_word) if every else []
        return {
            "said": [self._told(each) for each in new],
            "added": [{"shot": a.speck.shot_sha256} | _added_flag(a) for a in added],
            "withdrawn": [_place_of(a.speck) for a in every if a not in added],
            "last": max([after, *(each.number for each in new)]),
        }

    def answer(self, fields: Mapping[str, object]) -> dict[str, Any]:
        """Keeps an answer; what the tool thought of the speck comes back, unless somebody has to look again.

        One that is brought again, because the reply was lost, is told again, whatever has happened since.
        """
        answer = answer_of(fields)
        if not answer.token:
            raise AnswerError("An answer carries a token of its own.")
        shot = self._shot_of(answer.speck)
        said = self._said()
        if (kept := next((each for each in said if each.answer.token == answer.token), None)) is not None:
            return self._told(kept)
        if trouble := self.pictures.trouble(shot):
            raise PictureTrouble(trouble)
        words, added = last_words(said), self.store.added(self.shelf.run)
        if answer.speck not in self._specks_of(answer.reading, words, added):
            raise AnswerError(f"Candidate {answer.speck.candidate} of this shot is no part of this reading.")
        if who_stands_in_the_way(answer.speck, answer.reading, answer.reviewer, words):
            raise AnswerError(
                "You have answered on this speck in another reading: the second eyes are somebody else's."
            )
        return self._told(self.store.add_answer(answer))

    def add(self, fields: Mapping[str, object]) -> dict[str, Any]:
        """Keeps a speck that the tool missed, and the answer on it where one comes along; it comes back with its number.

        The answer belongs to the first reading, whoever adds the speck: nobody has read it before.
        """
        speck = speck_of(dict(fields) | {"candidate": 0})
        shot = self._shot_of(speck)
        token = _line(fields, "token", LONGEST_TOKEN)
        if not token:
            raise AnswerError("An added speck carries a token of its own.")
        answer = _answer_along(fields, token)
        added = next((each for each in self.store.added(self.shelf.run) if each.token == token), None)
        if added is None:
            if trouble := self.pictures.trouble(shot):
                raise PictureTrouble(trouble)
            added = self.store.add_speck(_drawn(fields, speck, shot, token))
        said = self._told(self.store.add_answer(replace(answer, speck=added.speck))) if answer else None
        return {"shot": speck.shot_sha256, **_added_flag(added), "said": said}

    def looked(self, fields: Mapping[str, object]) -> dict[str, Any]:
        """Notes that a person has looked at a whole shot with all marks hidden."""
        by = _line(fields, "reviewer", LONGEST_NAME)
        token, reading = _line(fields, "token", LONGEST_TOKEN), fields.get("reading", 1)
        seconds = _finite(fields.get("seconds", 0))
        if seconds is None or not 0 <= seconds <= _LONGEST_LOOK_S or not by or not token:
            raise AnswerError("A look has a shot, a reviewer, a reading, seconds and a token.")
        if type(reading) is not int or reading not in READINGS:
            raise AnswerError("There is no such reading.")
        of = self._shot_of(speck_of(dict(fields) | {"candidate": 0}))
        self.store.add_look(Look(of.sha256, self.shelf.run, by, reading, seconds, token))
        return {}

    def sums(self, reading: int) -> dict[str, Any]:
        """What the answers of a reading add up to, in all and sample by sample; and how many photographs nobody has looked at."""
        words, added = self._words(), self._added()
        specks = self._specks_of(reading, words, added)
        looked = {each.shot_sha256 for each in self.store.looks(self.shelf.run) if each.reading == reading}
        of_reading = {speck.shot_sha256 for speck in specks}
        samples: dict[tuple[str, str], list[Said | None]] = {}
        unseen: Counter[tuple[str, str]] = Counter()
        right = self._put_right()
        sample_of = {shot.sha256: _sample(shot, right.get(shot.sha256, {})) for shot in self.shelf.shots}
        for sha256, sample in sample_of.items():
            # A later reading is about drawn flags; the first is about every photograph.
            if reading == 1 or sha256 in of_reading:
                samples.setdefault(sample, [])
                unseen[sample] += sha256 not in looked
        for speck in specks:
            samples[sample_of[speck.shot_sha256]].append(words.get((speck, reading)))
        rows = [
            {"lot": lot, "sample": sample, **_counts(of, unseen[lot, sample])}
            for (lot, sample), of in sorted(samples.items())
        ]
        return {"all": _counts((word for of in samples.values() for word in of), unseen.total()), "samples": rows}

    def begin_second(self, share: float, by: str) -> SecondReading:
        """Opens the second reading of this run. Raises AnswerError where the share is none."""
        by = _line({"name": by}, "name", LONGEST_NAME)
        if not 0 < share <= 1 or not by:
            raise AnswerError("A second reading takes a share above 0 and up to all, and the name of who asks for it.")
        return self.store.begin_reading(SecondReading(self.shelf.run, 2, share, secrets.token_hex(8), by))

    def pairs(self) -> list[tuple[Answer, Answer]]:
        """First and second answer on each speck that has both and that nobody wants to look at again."""
        words = self._words()
        both = [(words.get((speck, 1)), words.get((speck, 2))) for speck in {key[0] for key in words}]
        pairs = [(one.answer, two.answer) for one, two in both if one and two]
        return [pair for pair in pairs if LOOK_AGAIN not in (pair[0].answer, pair[1].answer)]

    def standings(self) -> dict[str, int]:
        """How many specks stand how, over all readings (second.Standing)."""
        words, added = self._words(), self._added()
        twice = self._twice(added)
        return dict(Counter(standing(speck, words, twice).state for speck in self._all(added)))

    def _put_right(self) -> Mapping[str, Mapping[str, str]]:
        """What people put right of the photographs' belonging, by SHA-256."""
        return put_right(each.value for each in self.store.entries() if isinstance(each.value, Correction))

    def heard(self) -> Heard:
        """All that people said of this run, and entered on all lots."""
        run = self.shelf.run
        store = self.store
        return Heard(self._said(), store.added(run), store.looks(run), store.readings(run), store.entries())

    def _said(self) -> tuple[Said, ...]:
        """Every answer of this run so far. Rows are only added and come in the order of their numbers, so only new ones are read: of
        thousands of answers the last costs no more than the first."""
        with self._hearing:
            new = self.store.said({self.shelf.run}, self._heard[-1].number if self._heard else 0)
            self._heard = (*self._heard, *new)
            return self._heard

    def _added(self) -> list[Added]:
        return without_withdrawn(self.store.added(self.shelf.run), self._said())

    def _words(self) -> dict[Key, Said]:
        return last_words(self._said())

    def second_readings(self) -> list[SecondReading]:
        """What a supervisor asked to have read again."""
        return self.store.readings(self.shelf.run)

    def _all(self, added: Iterable[Added]) -> list[SpeckId]:
        return [*self.shelf.flags, *(each.speck for each in added)]

    def _twice(self, added: Iterable[Added]) -> frozenset[SpeckId]:
        specks = self._all(added)
        return frozenset().union(*(drawn(specks, asked) for asked in self.second_readings()))

    def _specks_of(self, reading: int, words: Mapping[Key, Said], added: Iterable[Added]) -> list[SpeckId]:
        added = list(added)
        return of_reading(reading, self._all(added), words, self._twice(added) if reading > 1 else frozenset())

    def _shot_of(self, speck: SpeckId) -> DeskShot:
        shot = self.shelf.by_sha256.get(speck.shot_sha256)
        if speck.run != self.shelf.run:
            raise WrongDesk(
                f"This page is of run {speck.run}, and this desk holds run {self.shelf.run}. Open the desk on that run again."
            )
        if shot is None:
            raise AnswerError("There is no such shot in this run.")
        return shot

    def _shot(
        self, shot: DeskShot, added: list[Added], kept: set[SpeckId], reading: int, right: Mapping[str, str]
    ) -> dict[str, Any]:
        flags = [_flag(flag) for flag in shot.flags if flag.speck in kept]
        flags += [_added_flag(each) for each in added if each.speck in kept]
        if reading > 1:
            # That somebody added a speck is as good as that reader's answer.
            flags = [{name: flag[name] for name in _OF_PLACE} for flag in flags]
        else:
            for flag in flags:
                word = self.earlier.get(SpeckId(shot.sha256, self.shelf.run, flag["candidate"]))
                if word is not None:
                    flag["before"] = {"run": word.answer.speck.run, "at": word.at} | _answered(word)
        wide, high = shot.size_px
        return {
            "name": shot.name,
            "sha256": shot.sha256,
            "wide_px": wide,
            "high_px": high,
            "px_per_mm": shot.px_per_mm,
            "flags": flags,
            "facts": {name: right.get(name, shot.cells[name]) for name in _OF_SHOT},
        }

    def _told(self, said: Said) -> dict[str, Any]:
        """An answer with what may be told once it is given."""
        speck = said.answer.speck
        flag = self.shelf.flags.get(speck)
        # What waits for another look is still to be judged, so nothing of the tool's is told of it.
        told = {name: flag.cells[name] for name in _TOLD} if flag and not is_open(said) and said.answer.answer else None
        who = {"shot": speck.shot_sha256, "candidate": speck.candidate, "number": said.number, "at": said.at}
        added = {"added": True} if flag is None and not is_open(said) and said.answer.answer else {}
        stands = {} if said.answer.answer else self._left(said)
        return {
            **who,
            "clock": said.clock,
            "token": said.answer.token,
            "told": told,
            **added,
            **stands,
            **_answered(said),
        }

    def _left(self, taken_back: Said) -> dict[str, Any]:
        """What is left once an answer was taken back: the one that counts again, or None; an added speck without any is withdrawn."""
        speck = taken_back.answer.speck
        word = self._words().get((speck, taken_back.answer.reading))
        gone = speck.candidate >= FIRST_ADDED and all(each.speck != speck for each in self._added())
        return {"stands": self._told(word) if word else None, "withdrawn": gone}


def _answer_along(fields: Mapping[str, object], token: str) -> Answer | None:
    """The answer that comes with an added speck. Raises AnswerError before anything is kept."""
    given = fields.get("answer")
    if given is None:
        return None
    if not isinstance(given, Mapping):
        raise AnswerError("The answer on an added speck is an object.")
    whose = {name: fields.get(name) for name in ("shot_sha256", "run", "reviewer")}
    return answer_of(
        {**given, **whose, "candidate": FIRST_ADDED, "reading": 1, "token": f"{token[: LONGEST_TOKEN - 7]}-answer"}
    )


def _drawn(fields: Mapping[str, object], speck: SpeckId, shot: DeskShot, token: str) -> Added:
    """What a person drew. Raises AnswerError where it is no speck of the picture."""
    numbers = {name: _finite(fields.get(name)) for name in ("x_px", "y_px", "length_px", "angle_deg")}
    if None in numbers.values():
        raise AnswerError("An added speck has x_px, y_px, length_px and angle_deg.")
    added = Added(speck, by=_line(fields, "reviewer", LONGEST_NAME), token=token, **numbers)  # type: ignore[arg-type]
    wide, high = shot.size_px
    if not (-0.5 <= added.x_px <= wide - 0.5 and -0.5 <= added.y_px <= high - 0.5):
        raise AnswerError("An added speck lies in the picture.")
    return added


def _line(fields: Mapping[str, object], name: str, longest: int) -> str:
    """A short text on one line, without outer spaces; '' where there is none. Raises AnswerError for what is none."""
    value = fields.get(name, "")
    if not isinstance(value, str):
        raise AnswerError(f"{name} is a text.")
    if len(value) > longest:
        raise AnswerError(f"The {name} is longer than {longest} characters.")
    if any(unicodedata.category(c) in ("Cc", "Cs") for c in value):
        raise AnswerError(f"The {name} holds a control character.")
    return value.strip()


def _finite(value: object) -> float | None:
    """A number that a page may have sent; None for anything else."""
    return (
        float(value) if isinstance(value, int | float) and type(value) is not bool and abs(value) < _TOO_LARGE else None
    )


def _answered(said: Said) -> dict[str, Any]:
    ring = said.answer.ring
    return {name: getattr(said.answer, name) for name in _OF_ANSWER} | {"ring": vars(ring) if ring else None}


def _counts(words: Iterable[Said | None], not_looked: int) -> dict[str, int]:
    counts = replace(count(words), not_looked=not_looked)
    return vars(counts) | {"open": counts.open}


def _sample(shot: DeskShot, right: Mapping[str, str]) -> tuple[str, str]:
    return right.get("lot", shot.cells["lot"]), right.get("sample", shot.cells["sample"])


def _place_of(speck: SpeckId) -> dict[str, Any]:
    return {"shot": speck.shot_sha256, "candidate": speck.candidate}


def _flag(flag: Flag) -> dict[str, Any]:
    left, top, wide, high = flag.box_px
    box = {"left_px": left, "top_px": top, "wide_px": wide, "high_px": high}
    return {"candidate": flag.speck.candidate, "x_px": flag.x_px, "y_px": flag.y_px, "found_by": "tool", **box}


def _added_flag(added: Added) -> dict[str, Any]:
    side = max(_LEAST_BOX_PX, added.length_px)
    box = {"left_px": added.x_px - side / 2, "top_px": added.y_px - side / 2, "wide_px": side, "high_px": side}
    who = {"candidate": added.speck.candidate, "x_px": added.x_px, "y_px": added.y_px, "found_by": "person"}
    return {**who, "by": added.by, "token": added.token, **box}


def _shown(flag: Flag) -> Shown:
    _, _, wide, high = flag.box_px
    return Shown(flag.speck, flag.x_px, flag.y_px, max(LEAST_REACH_PX, max(wide, high) / 2))
