"""Shots and megapixels a second, memory, start-up, resuming, and a cluster beside this machine's own cores: `make bench-batch`.

How it is measured:

- Photographs are drawn rinse water and opened florets, JPEG of 12 megapixels (4000 x 3000 px at 20 px/mm) or of one (1200 x 900), each
  with other bytes. A shot goes all the way: read, scored, pictures, ledger on disk, and at the end tables and pages.
- Worker processes are ready before the clock starts; what starting takes stands by itself. OpenCV runs one thread a worker.
- Decoding alone: the same photographs through the same workers, which only decode them.
- Memory is the most a worker process ever held (VmHWM).
- Resuming: 10,000 finished shots of ten flags each, put down by a scorer that makes up its rows; then `speckwise score` on the same
  folder, from the command to its end.
- The cluster is a Dask scheduler and its workers on this machine.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from cli.batch.engines.cores import Cores
from cli.batch.engines.engine import Bell, Engine, MakeScore
from cli.batch.folder import find_sources
from cli.batch.ledger import Ledger
from cli.batch.run import Call, score_into
from cli.batch.sources import Photograph
from cli.batch.standing import LEDGER
from cli.batch.tell import Quiet
from cli.options import ScoreOptions, prepare
from cli.scoring import make_pages
from cli.shot import Outcome
from vision.decode import decode_shot
from vision.files import encode_jpeg
from vision.render import Recipe, draw, tidy
from vision.table import CANDIDATES, SHOTS

OPTIONS = ScoreOptions(px_per_mm=20.0)
COMMAND = (sys.executable, "-c", "from cli.entry import main; main()")
KINDS = ("water", "broccoli")


def recipe(kind: str, width_px: int, height_px: int) -> Recipe:
    """The shot that is scored again and again."""
    drawn = tidy(kind, 20_26, width_px=width_px, height_px=height_px, px_per_mm=20.0)
    return replace(drawn, insects=(("aphid", 3), ("thrips", 3), ("caterpillar", 1)), jpeg_quality=90)


def photographs(folder: Path, kinds: Sequence[str], number: int, width_px: int, height_px: int) -> Path:
    """So many of them, each moved a little against the others, so that each is new work."""
    folder.mkdir(parents=True)
    pictures = [draw(recipe(kind, width_px, height_px)).pixels for kind in kinds]
    for n in range(number):
        pixels = np.roll(pictures[n % len(pictures)], (7 * n, 13 * n), (0, 1))
        (folder / f"shot-{n:05d}.jpg").write_bytes(encode_jpeg(pixels, 90))
    return folder


class Readied:
    """An engine whose workers are ready, and how long that took."""

    def __init__(self, workers: int) -> None:
        self.workers, self.started_s, self.peak_mib = workers, 0.0, 0.0

    def make(self, make_score: MakeScore, bell: Bell) -> Engine:
        begun = time.perf_counter()
        cores = Cores(make_score, bell, self.workers)
        cores.start()
        while len(cores._free) < self.workers:
            if not cores._all:
                raise RuntimeError(f"No worker gets ready: {cores._in_vain}")
            time.sleep(0.005)
            cores.look_after()
        self.started_s = time.perf_counter() - begun
        close = cores.close

        def measured() -> None:
            self.peak_mib = max((_peak_mib(worker._process.pid) for worker in cores._all), default=0.0)
            close()

        cores.close = measured  # type: ignore[method-assign]
        return cores


def _peak_mib(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text()
    return int(status.split("VmHWM:")[1].split()[0]) / 1024


def make_decoder() -> Callable[[Photograph], Outcome]:
    """What only decodes."""
    cv2.setNumThreads(1)

    def decode(photograph: Photograph) -> Outcome:
        begun = time.perf_counter()
        decode_shot(photograph.data, photograph.shot)
        return Outcome([""] * len(SHOTS), [], {}, time.perf_counter() - begun)

    return decode


def no_pages(folder: object) -> Iterator[tuple[str, str]]:
    return iter(())


def run(photos: Path, out: Path, readied: Readied, decode: bool = False) -> float:
    """Seconds for all of them, workers ready before."""
    facts, make_score = prepare(OPTIONS)
    call = Call(
        make_score=make_decoder if decode else make_score,
        make_engine=readied.make,
        make_pages=no_pages if decode else make_pages,
        teller=Quiet(),
    )
    begun = time.perf_counter()
    score_into(out, find_sources([photos], out, print), facts, call)
    return time.perf_counter() - begun - readied.started_s


def throughput(folder: Path, number: int) -> None:
    """Shots and megapixels a second, one and two workers, beside decoding alone."""
    columns = ("scene, 12 megapixels", "workers", "shots a second", "megapixels a second", "against 1 worker")
    columns += ("decoding alone, s a shot", "times decoding", "most memory a worker, MiB")
    print(f"\n| {' | '.join(columns)} |")
    print("|---|---|---|---|---|---|---|---|")
    for kind in KINDS:
        photos = photographs(folder / f"in-{kind}", [kind], number, 4000, 3000)
        alone = 0.0
        for workers in (1, 2):
            readied = Readied(workers)
            seconds = run(photos, folder / f"out-{kind}-{workers}", readied)
            decoding = run(photos, folder / f"decoded-{kind}-{workers}", Readied(workers), decode=True)
            alone = alone or seconds
            print(
                f"| {kind} | {workers} | {number / seconds:.3f} | {12 * number / seconds:.1f} | {alone / seconds:.2f} | "
                f"{decoding / number:.3f} | {seconds / decoding:.0f} | {readied.peak_mib:.0f} |",
                flush=True,
            )


def steadiness(folder: Path, numbers: Sequence[int]) -> None:
    """Whether a shot takes as long in a large call as in a small one."""
    print("\n| shots of one megapixel, 2 workers | median s a shot in its worker | elapsed s a shot |")
    print("|---|---|---|")
    for number in numbers:
        photos = photographs(folder / f"in-{number}", ["water"], number, 1200, 900)
        out = folder / f"out-{number}"
        seconds = run(photos, out, Readied(2))
        ledger = Ledger(out / LEDGER, prepare(OPTIONS)[0].run)
        median = statistics.median(entry.seconds for entry in ledger)
        ledger.close()
        print(f"| {number} | {median:.3f} | {seconds / number:.3f} |", flush=True)
        shutil.rmtree(photos)


def made_up(run_id: str) -> Callable[[Photograph], Outcome]:
    """A scorer whose rows are made up."""

    def score(photograph: Photograph) -> Outcome:
        told = {
            "shot": photograph.shot,
            "shot_sha256": photograph.sha256,
            "run": run_id,
            "usable": "yes",
            "found_by": "tool",
        }
        told |= {"width_px": "1200", "height_px": "900", "candidates": "10", "px_per_mm": "20.000", "score": "0.5000"}
        told |= dict.fromkeys(("left_px", "top_px", "wide_px", "high_px", "length_mm", "width_mm", "x_px", "y_px"), "9")
        rows = [[(told | {"candidate": str(n)}).get(c.name, "") for c in CANDIDATES] for n in range(1, 11)]
        base = f"{Path(photograph.shot).stem}-{photograph.sha256[:8]}"
        files = {f"pictures/{base}.jpg": b"1", f"pictures/{base}-unmarked.jpg": b"2", f"pages/{base}-small.jpg": b"3"}
        return Outcome([told.get(c.name, "") for c in SHOTS], rows, files, 0.1)

    return score


class _Made:
    """An engine that makes results up here and now."""

    workers = 1

    def __init__(self, score: Callable[[Photograph], Outcome], bell: Bell) -> None:
        self._score, self._bell = score, bell

    def start(self) -> None: ...

    def submit(self, photograph: Photograph) -> None:
        from cli.batch.engines.engine import Done

        self._bell(Done(photograph.sha256, self._score(photograph)))

    def look_after(self) -> None: ...

    def close(self) -> None: ...


def resuming(folder: Path, number: int) -> None:
    """How long the same call takes on a folder where all is done."""
    photos = folder / "in"
    photos.mkdir()
    for n in range(number):
        (photos / f"shot-{n:06d}.jpg").write_bytes(b"photograph %d" % n)
    facts, make_score = prepare(OPTIONS)
    out = folder / "out"
    call = Call(make_score, lambda make, bell: _Made(made_up(facts.run), bell), make_pages, Quiet())
    begun = time.perf_counter()
    score_into(out, find_sources([photos], out, print), facts, call)
    put_down = time.perf_counter() - begun
    words = [*COMMAND, "score", str(photos), "--out", str(out), "--px-per-mm", "20", "--quiet"]
    begun = time.perf_counter()
    done = subprocess.run(words, capture_output=True, text=True, check=True)
    seconds = time.perf_counter() - begun
    assert f"{number} of the {number} files stood here" in done.stdout, done.stdout
    print(f"\n{number} shots put down, with made-up results, tables and pages: {put_down:.0f} s")
    print(f"The same call on {number} finished shots, from the command to its end: {seconds:.1f} s")


def start_up(folder: Path) -> None:
    """What a call takes beside its scoring."""
    photos = photographs(folder / "in", ["water"], 1, 1200, 900)
    seconds = []
    for n in range(3):
        begun = time.perf_counter()
        subprocess.run(
            [*COMMAND, "score", str(photos), "--out", str(folder / f"o{n}"), "--px-per-mm", "20", "--quiet"],
            check=True,
            capture_output=True,
        )
        told = json.loads((folder / f"o{n}" / "run.json").read_text())
        seconds.append(time.perf_counter() - begun - told["times"]["scoring_s"])
    print(f"\nA call for one shot takes {statistics.median(seconds):.1f} s beside its scoring (median of 3).")


def cluster(folder: Path, number: int) -> None:
    """A Dask scheduler with two workers on this machine beside two worker processes of our own, by what further shots take."""
    from own_dask import local_cluster

    from cli.batch.engines.cluster import Cluster

    few, many = (photographs(folder / f"in-{n}", ["water"], n, 2000, 1500) for n in (4, number + 4))
    facts, make_score = prepare(OPTIONS)

    def further(name: str, make_engine: Callable[[MakeScore, Bell], Engine]) -> float:
        """Seconds a shot, without what a run takes to get going."""
        seconds = []
        for photos in (few, many):
            out = folder / f"{name}-{photos.name}"
            begun = time.perf_counter()
            score_into(
                out, find_sources([photos], out, print), facts, Call(make_score, make_engine, make_pages, Quiet())
            )
            seconds.append(time.perf_counter() - begun)
        return (seconds[1] - seconds[0]) / number

    here = further("cores", lambda make, bell: Cores(make, bell, 2))
    with local_cluster(folder) as dask:
        there = further("cluster", partial(_cluster, dask.scheduler_address, Cluster))
    print(
        f"\nA further shot of 3 megapixels, mean of {number}: {here:.2f} s by two cores, {there:.2f} s by a cluster of two "
        f"({there / here - 1:+.0%})"
    )


def _cluster(address: str, kind: Any, make_score: MakeScore, bell: Bell) -> Engine:
    return kind(address, make_score, bell)


PARTS: dict[str, Callable[[Path, argparse.Namespace], None]] = {
    "start-up": lambda folder, told: start_up(folder),
    "throughput": lambda folder, told: throughput(folder, told.shots),
    "resuming": lambda folder, told: resuming(folder, told.finished),
    "cluster": lambda folder, told: cluster(folder, told.shots * 2),
    "steadiness": lambda folder, told: steadiness(folder, (100, told.many)),
}


@contextmanager
def _folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory(prefix="bench-batch-") as name:
        yield Path(name)


def main() -> None:
    """Reads the command line and prints the tables."""
    reader = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    reader.add_argument("parts", nargs="*", default=list(PARTS), help=", ".join(PARTS))
    reader.add_argument("--shots", type=int, default=12, help="photographs of 12 megapixels")
    reader.add_argument("--many", type=int, default=2000, help="photographs of one megapixel in the large call")
    reader.add_argument("--finished", type=int, default=10_000, help="finished shots that are gone over again")
    asked = reader.parse_args()
    print(
        f"{os.cpu_count()} processors, Python {sys.version.split()[0]}, OpenCV {cv2.__version__}, numpy {np.__version__}"
    )
    for part in asked.parts:
        with _folder() as place:
            PARTS[part](place, asked)


if __name__ == "__main__":
    # By its own name: workers look for what they are to do in a module, and this one has another name while it is the program.
    import batch

    batch.main()
