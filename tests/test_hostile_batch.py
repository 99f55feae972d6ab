"""One bad shot never hurts another: whatever lies among the photographs, each has its row, its sentence, and no influence."""

from __future__ import annotations

import json
import os
import stat
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import cv2
import numpy as np
import pytest
from hostile_bombs import (
    exif_bomb,
    heif_bombs,
    ihdr,
    jpeg_bombs,
    png,
    png_bombs,
    tiff_bombs,
    webp_bombs,
    with_exif,
    zeros,
)
from hostile_files import (
    ENDING,
    ENVIRONMENT,
    KINDS,
    ROOT,
    assert_plain,
    cut,
    flipped,
    ill,
    no_pictures,
    photograph,
    unusual,
    written,
)
from PIL import Image
from written_pictures import chunk, saved

from cli.words import printable
from faked import record
from vision import files
from vision.decode import decode_shot
from vision.table import CANDIDATES, SHOTS, from_csv, unescape

pytestmark = pytest.mark.slow

MOST_BYTES = 900 << 20

GOOD = {
    "c good.jpg": ("JPEG", "06-rinse-water-large.jpg", 0),
    "h good.png": ("PNG", "10-florets-opened-large.jpg", 0),
    "m good.tif": ("TIFF", "11-spoiled-blurred.jpg", 0),
    "q good.heic": ("HEIF", "06-rinse-water-large.jpg", 8),
    "x good.webp": ("WEBP", "01-blank-panel-a.jpg", 0),
}
ODD_NAMES = ["line\nbreak.jpg", "\x1b[31mred\x07.jpg", "left\u202egpj.jpg", "\u05d0" * 125 + "b.jpg", "=1+1,\"'.jpg"]


def good() -> dict[str, bytes]:
    return {name: written(kind, photograph(300, of, left)) for name, (kind, of, left) in GOOD.items()}


def cuts() -> dict[str, bytes]:
    return {f"cut {kind}.{ENDING[kind]}": cut(written(kind, photograph(96)))[4] for kind in KINDS}


# --- a whole call, in processes of its own -----------------------------------------------------------------------------------

SCORE = """
import json, resource, sys, threading, time
from cli.entry import main
sys.argv[0] = "speckwise"
try:
    main()
finally:
    end = time.monotonic() + 10
    while any("_watch" in each.name for each in threading.enumerate()) and time.monotonic() < end:
        time.sleep(0.01)  # what a worker took is known once it has been waited for
    # Its own from the kernel: ru_maxrss of a process counts what the one that started it had taken, which may be a large test run.
    own = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
    print(json.dumps([own, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss]))
"""


@dataclass(frozen=True)
class Scored:
    """What came of a call."""

    code: int
    said: list[str]
    complained: list[str]
    peaks_kb: list[int]
    """Of the process that decides, and of the worker that took most."""
    shots: dict[str, list[str]]
    candidates: dict[str, list[list[str]]]
    out: Path

    @property
    def errors(self) -> dict[str, str]:
        return {name: unescape(row[-1]) for name, row in self.shots.items() if row[-1]}


def score(folder: Path, out: Path) -> Scored:
    words = ["score", str(folder), "--out", str(out), "--px-per-mm", "20", "--engine", "cores", "--workers", "2"]
    words += ["--min-score", "0.001"]  # rows enough to compare, whatever the ranker thinks of these
    done = subprocess.run(
        [sys.executable, "-c", SCORE, *words],
        capture_output=True,
        encoding="utf-8",
        cwd=ROOT,
        env=ENVIRONMENT,
        check=False,
    )
    *said, peaks = done.stdout.splitlines()
    shots = {unescape(row[0]): row for row in from_csv(SHOTS, (out / "shots.csv").read_bytes())}
    candidates: dict[str, list[list[str]]] = {name: [] for name in shots}
    at = [column.name for column in CANDIDATES].index("shot")
    for row in from_csv(CANDIDATES, (out / "candidates.csv").read_bytes()):
        candidates[unescape(row[at])].append(row)
    return Scored(done.returncode, said, done.stderr.splitlines(), json.loads(peaks), shots, candidates, out)


@cache
def bad_among_all() -> dict[str, bytes]:
    return {
        **cuts(),
        **no_pictures(),
        "bit flipped.jpg": flipped(written("JPEG", photograph(96)), 1, 2)[0],
        "two headers.png": png_bombs()["two headers.png"],
        "profile bomb.png": png_bombs()["profile.png"],
        "deflate16.tif": tiff_bombs()["deflate16.tif"],
        "scans.jpg": jpeg_bombs()["scans.jpg"],
        "held.webp": webp_bombs()["held.webp"],
        "tiles.heic": heif_bombs()["tiles.heic"],
    }


@cache
def read_all_the_same() -> dict[str, bytes]:
    """Fewer than there are: all of them are scored below."""
    left_out = {"grey", "sixteen bits", "clear", "exif none", "exif 0", "profile 0", "profile 1"}
    found = {name: data for name, data in (unusual() | ill()).items() if name.split(".")[0] not in left_out}
    return found | {"page after itself.tif": tiff_bombs()["page after itself.tif"]}


@pytest.fixture(scope="module")
def among_all(tmp_path_factory: pytest.TempPathFactory) -> Scored:
    """Some fifty files of every sort in one call."""
    folder = tmp_path_factory.mktemp("mixed") / "in"
    folder.mkdir()
    odd = {name: written("JPEG", photograph(64, left_px=8 * k + 100)) for k, name in enumerate(ODD_NAMES)}
    for name, data in (good() | bad_among_all() | read_all_the_same() | odd).items():
        (folder / name).write_bytes(data)
    (folder / "itself.jpg").symlink_to("itself.jpg")
    (folder / "away.jpg").symlink_to(folder / "unmounted" / "1.jpg")
    for one, other in (("d", "e"), ("e", "d")):
        (folder / one).mkdir()
        (folder / one / "round").symlink_to(folder / other, target_is_directory=True)
    os.mkfifo(folder / "pipe.jpg")
    os.mknod(folder / "socket.jpg", stat.S_IFSOCK | 0o600)
    return score(folder, folder.parent / "out")


class TestAmongAllSortsOfFiles:
    def test_every_file_has_one_row_and_what_is_no_file_has_none(self, among_all: Scored) -> None:
        assert set(among_all.shots) == {*GOOD, *bad_among_all(), *read_all_the_same(), *ODD_NAMES, "away.jpg"}

    def test_a_row_has_an_error_where_nothing_could_be_read_and_nowhere_else(self, among_all: Scored) -> None:
        assert set(among_all.errors) == {*bad_among_all(), "away.jpg"}

    def test_every_error_is_a_plain_sentence_of_ours(self, among_all: Scored) -> None:
        for sentence in among_all.errors.values():
            assert_plain(sentence)

    def test_the_call_ends_in_1_and_names_each_that_failed(self, among_all: Scored) -> None:
        assert among_all.code == 1
        for name, sentence in among_all.errors.items():
            assert f"{printable(name)}: {sentence}" in among_all.complained
        assert any(line.startswith(f"{len(among_all.errors)} shots could not be scored: ") for line in among_all.said)
        assert not any("Traceback" in line for line in among_all.complained)

    def test_good_photographs_have_the_rows_they_have_alone(self, among_all: Scored, tmp_path: Path) -> None:
        (tmp_path / "in").mkdir()
        for name, data in good().items():
            (tmp_path / "in" / name).write_bytes(data)
        alone = score(tmp_path / "in", tmp_path / "out")
        assert alone.code == 0
        for name in GOOD:
            assert among_all.shots[name] == alone.shots[name]
            assert among_all.candidates[name] == alone.candidates[name]
        assert sum(map(len, alone.candidates.values())) > 0

    def test_no_worker_is_lost_and_none_takes_much_memory(self, among_all: Scored) -> None:
        assert "scored again" not in (among_all.out / "log.jsonl").read_text()
        assert max(among_all.peaks_kb) * 1024 < MOST_BYTES

    def test_the_record_counts_them(self, among_all: Scored) -> None:
        told = record(among_all.out)
        assert told["finished"] is True
        assert told["counts"]["failed"] == len(among_all.errors) == len(told["failures"])
        assert told["counts"]["shots"] == len(among_all.shots)


# --- one shot after the other, in this process -------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def score_one() -> Callable[[str, bytes], str]:
    """Scores one photograph with the real pipeline and gives its error; anything else that goes wrong is raised."""
    from cli.batch.sources import Photograph
    from cli.options import ScoreOptions, prepare

    _, make_score = prepare(ScoreOptions(px_per_mm=20.0))
    scored = make_score()

    def one(name: str, data: bytes) -> str:
        outcome = scored(Photograph(name, files.sha256_of(data), data))
        assert len(outcome.shot_row) == len(SHOTS)
        assert unescape(outcome.shot_row[-1]) == outcome.error
        assert bool(outcome.files) is not bool(outcome.error)
        return outcome.error

    return one


@pytest.mark.parametrize("kind", KINDS)
class TestOfEveryKind:
    def test_cut_at_every_tenth_is_one_sentence(self, kind: str, score_one: Callable[[str, bytes], str]) -> None:
        assert {score_one("cut", data) for data in cut(written(kind, photograph(300)))} == {
            "The file breaks off before the picture ends; copy it again."
        }

    def test_bits_that_are_wrong_end_in_a_row_or_a_plain_sentence(
        self, kind: str, score_one: Callable[[str, bytes], str]
    ) -> None:
        """300 in all; of 48 pixels a side, so that those which are still pictures are scored at once."""
        errors = [
            score_one(f"{k}", data)
            for k, data in enumerate(flipped(written(kind, photograph(48)), 300 // len(KINDS), 300 + KINDS.index(kind)))
        ]
        for sentence in filter(None, errors):
            assert_plain(sentence)
        assert any(errors)


@pytest.mark.parametrize("what", [unusual, ill])
def test_what_is_only_unusual_is_scored(
    what: Callable[[], dict[str, bytes]], score_one: Callable[[str, bytes], str]
) -> None:
    assert {name: score_one(name, data) for name, data in what().items()} == dict.fromkeys(what(), "")


def test_packed_bits_give_the_pixels_they_hold() -> None:
    shot = decode_shot(unusual()["packed bits.tif"], "x.tif")
    assert np.array_equal(shot.pixels, photograph(96).astype(np.uint16) * 257)


# --- decoders that may crash, hang or fill the memory ------------------------------------------------------------------------

DECODE = """
import json, sys, time
from pathlib import Path
from vision.decode import decode_shot
from vision.errors import ShotError

def peak_kb():
    # Not getrusage: it counts in what the process that started this one had taken.
    return next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))

for path in sorted(Path(sys.argv[1]).iterdir()):
    data, begun = path.read_bytes(), time.process_time()
    try:
        said = str(decode_shot(data, path.name).pixels.shape)
    except ShotError as error:
        said = str(error)
    print(json.dumps([path.name, said, peak_kb(), time.process_time() - begun]), flush=True)
"""

READ = {
    "more rows than it says.png",
    "deflate.tif",
    "two widths.tif",
    "page after itself.tif",
    "pages without end.tif",
    "directories below.tif",
    "profile.tif",
    "exif.jpg",
    "tiles for a small picture.heic",
}
"""What holds far more than its picture, and a picture all the same."""


class TestBombs:
    def test_none_crashes_hangs_or_fills_the_memory(self, tmp_path: Path) -> None:
        bombs = png_bombs() | tiff_bombs() | jpeg_bombs() | webp_bombs() | heif_bombs()
        bombs |= {"exif.jpg": with_exif(exif_bomb()), "no text.heic": no_pictures()["no text.heic"]}
        for name, data in bombs.items():
            (tmp_path / name).write_bytes(data)
        words = [sys.executable, "-c", DECODE, str(tmp_path)]
        done = subprocess.run(words, capture_output=True, text=True, cwd=ROOT, check=False, timeout=300)
        told = [json.loads(line) for line in done.stdout.splitlines()]
        assert (done.returncode, [name for name, *_ in told]) == (0, sorted(bombs))
        for name, said, peak_kb, seconds in told:
            assert peak_kb * 1024 < MOST_BYTES, name
            assert seconds < 20, name
            # One that is read by some versions of a library and not by others is a picture or a sentence.
            if name not in READ:
                assert_plain(said)
        assert {name for name, said, *_ in told if said.startswith("(")} <= READ


LITTLE = """
import resource, sys
from pathlib import Path
from vision.decode import decode_shot
from vision.errors import ShotError
pages = int(Path("/proc/self/statm").read_text().split()[0])
resource.setrlimit(resource.RLIMIT_AS, (pages * resource.getpagesize() + 100_000_000,) * 2)
for path in sorted(Path(sys.argv[1]).iterdir()):
    try:
        decode_shot(path.read_bytes(), path.name)
    except ShotError as error:
        print(error)
"""


class TestLittleMemory:
    def test_a_good_picture_is_not_said_to_be_broken(self, tmp_path: Path) -> None:
        """Of 81 megapixels, in a process that has room for 100 MB more."""
        side = 9000
        (tmp_path / "a.jpg").write_bytes(saved(Image.new("L", (side, side), 180), "JPEG"))
        (tmp_path / "b.jpg").write_bytes(saved(Image.new("RGB", (side, side), (180, 170, 160)), "JPEG"))
        (tmp_path / "c.png").write_bytes(png(ihdr(side, side), chunk(b"IDAT", zeros(side * (3 * side + 1)))))
        (tmp_path / "d.png").write_bytes(png(ihdr(side, side, 16), chunk(b"IDAT", zeros(side * (6 * side + 1)))))
        words = [sys.executable, "-c", LITTLE, str(tmp_path)]
        done = subprocess.run(words, capture_output=True, text=True, cwd=ROOT, check=True, timeout=300)
        assert done.stdout.splitlines() == ["There is not enough memory to open this picture."] * 4

    def test_nor_is_opencv_that_runs_out_of_it_a_fault_of_ours(
        self, score_one: Callable[[str, bytes], str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def inspect(*of: object) -> None:
            cv2.copyMakeBorder(np.zeros((1, 1), np.uint8), 0, 1 << 30, 0, 1 << 20, cv2.BORDER_CONSTANT)

        monkeypatch.setattr("cli.shot.inspect", inspect)
        error = score_one("a.jpg", written("JPEG", photograph(48)))
        assert_plain(error)
        assert "memory" in error
