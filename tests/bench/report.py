"""How long a record takes: 5,000 photographs with 20,000 flags in one lot of 500 samples, every flag answered, one in twenty an insect.

`make bench-report` prints seconds of the page, of the table and of --verify. Rows go straight into the ledger and the record of answers,
and pictures are small: what is timed is the record, and not how it came there. Invented, as the kitchen of Quillmere House is.
"""

from __future__ import annotations

import contextlib
import io
import sys
import tempfile
import time
from pathlib import Path

from lot_folder import LOT, Taken
from scored_folder import RUN

from cli.batch.ledger import Ledger
from cli.batch.standing import LEDGER, RECORD
from cli.entry import run
from cli.lots.entries import Entered, Link, Sampled
from cli.review.database import engine_of, parsed
from cli.review.layout import ANSWERS, LOOKS
from cli.review.shelf import read_shelf, store_beside
from cli.review.store import Store, sqlite_url
from vision.files import write_json

SAMPLES, OF_SAMPLE, FLAGS, ONE_IN = 500, 10, 4, 20
VIEWS = ("water", "swirl", *["underside", "opened"] * 4)
AT = "2026-03-04T10:00:00Z"


def main(samples: int = SAMPLES) -> None:
    """Prints the table."""
    with tempfile.TemporaryDirectory() as place:
        folder = written(Path(place) / "scored", samples)
        answered(folder)
        for name, words in (("page", ["lot.html"]), ("table", ["lot.csv"]), ("--verify", ["lot.html", "--verify"])):
            seconds = timed("report", str(folder), "--out", str(Path(place) / words[0]), *words[1:])
            print(f"{name}: {seconds:.1f} s", flush=True)


def written(folder: Path, samples: int) -> Path:
    """The scored folder."""
    (folder / "pictures").mkdir(parents=True)
    ledger = Ledger(folder / LEDGER, RUN)
    for sample in range(samples):
        for k, view in enumerate(VIEWS[:OF_SAMPLE]):
            piece = "" if k < 2 else str(1 + (k - 2) // 2)
            shot = Taken(f"{sample:03d}-{k}-{view}.jpg", FLAGS, f"{sample + 1}", piece, view, seed=(sample + k) % 20)
            entry, files = shot.entry()
            for name, data in files.items():
                (folder / name).write_bytes(data)
            ledger.add(entry)
    ledger.close()
    write_json(folder / RECORD, {"app": "speckwise", "run": RUN, "version": "0.1.0", "tables": {}})
    return folder


def answered(folder: Path) -> None:
    """Every flag answered, every photograph looked at, every sample entered, and a link in each that has two insects."""
    shelf = read_shelf(folder)
    url = sqlite_url(store_beside(folder))
    store = Store(url)
    rows, insects = [], {}
    for number, speck in enumerate(shelf.flags):
        row = dict.fromkeys(("clock", "kind", "body", "unaided", "note"), "") | vars(speck)
        row |= {"at": AT, "token": f"a{number}", "reading": 1, "reviewer": "Ida", "source": "desk", "basis": "in_hand"}
        row |= {"answer": "not_insect"}
        if number % ONE_IN == 0:
            row |= {"answer": "insect", "kind": ("aphid", "thrips", "")[number % 3], "body": "whole", "unaided": "yes"}
            insects.setdefault(shelf.by_sha256[speck.shot_sha256].cells["sample"], []).append(speck)
        rows.append(row)
    looks = [
        {
            "at": AT,
            "token": f"l{k}",
            "run": RUN,
            "reading": 1,
            "reviewer": "Ida",
            "seconds": 4.0,
            "shot_sha256": shot.sha256,
        }
        for k, shot in enumerate(shelf.shots)
    ]
    with engine_of(parsed(url)).begin() as connection:
        connection.execute(ANSWERS.insert(), rows)
        connection.execute(LOOKS.insert(), looks)
    for number, (sample, specks) in enumerate(sorted(insects.items())):
        store.add_entry(Entered(LOT, "Ida", Sampled(sample, 4, 250.0, "raw"), f"s{number}"))
        if len({speck.shot_sha256 for speck in specks}) > 1:
            store.add_entry(Entered(LOT, "Ida", Link(tuple(specks[:2])), f"k{number}"))
    store.close()
    print(f"{len(shelf.shots)} photographs, {len(rows)} answers, {sum(map(len, insects.values()))} of them insects")


def timed(*words: str) -> float:
    """Seconds of one call."""
    begin = time.perf_counter()
    said = io.StringIO()
    with contextlib.redirect_stdout(said):
        code = run(words)
    if code:
        raise SystemExit(said.getvalue())
    return time.perf_counter() - begin


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
