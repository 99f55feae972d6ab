"""Results pages of many shots: what lists them, where pages and pictures stand, that every link holds, and what is kept in memory."""

from __future__ import annotations

import gc
import os
import re
import subprocess
import sys
import tracemalloc
from collections import Counter
from collections.abc import Iterator
from pathlib import Path, PurePosixPath
from urllib.parse import unquote, urljoin, urlsplit

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.pages import words
from cli.pages.glance import SHOTS_A_PAGE, SHOTS_LISTED, ShotRows, look_over
from cli.pages.index import build_pages
from cli.pages.names import (
    SHOTS_A_SHARD,
    ShotFiles,
    from_page_to,
    in_shard,
    page_file,
    shard_at,
    shot_files,
    shot_files_among,
    up_from,
)
from vision.table import CANDIDATES, SHOTS, format_cell

pytestmark = pytest.mark.slow

# A browser's own way from a page to what it links to; urllib.parse follows RFC 3986, 5.2.
HERE = "http://here/a%20folder/"
SEASON = 10_450


def shot_cells(number: int, **cells: object) -> list[str]:
    told: dict[str, object] = {
        "shot": f"day {number // 500:02d}/{number:05d}.jpg",
        "shot_sha256": f"{number:08x}" * 8,
        "width_px": 4000,
        "height_px": 3000,
        "px_per_mm": 20.0,
        "unsearched_pct": 0.0,
        "usable": "yes",
        "candidates": 0,
    } | cells
    return [format_cell(column, told.get(column.name)) for column in SHOTS]  # type: ignore[arg-type]


def candidate_cells(number: int) -> list[str]:
    told: dict[str, object] = {
        "candidate": number,
        "x_px": 90.0,
        "y_px": 45.0,
        "left_px": 80 * number,
        "top_px": 40,
        "wide_px": 20,
        "high_px": 10,
        "resembles": "aphid",
        "why": "brown",
        "score": 0.5,
        "found_by": "tool",
    }
    return [format_cell(column, told.get(column.name)) for column in CANDIDATES]  # type: ignore[arg-type]


def unread(number: int) -> ShotRows:
    """A shot that makes little text."""
    return ShotRows(shot_cells(number, error="It is empty.", usable=None, candidates=None), [], [])


def paths_of(files: ShotFiles) -> list[str]:
    return [files.annotated, files.unmarked, files.small, files.crops]


def flagged(number: int, flags: int = 1, shard: int = 0, **cells: object) -> ShotRows:
    row = shot_cells(number, candidates=flags, **cells)
    files = [in_shard(path, shard) for path in paths_of(shot_files(row[0], row[1]))]
    return ShotRows(row, [candidate_cells(k + 1) for k in range(flags)], files)


def season() -> Iterator[ShotRows]:
    """Most could not be read; every 25th has two flags, and the way its pictures were sharded is not the order of names."""
    for number in range(SEASON):
        if number % 25:
            yield unread(number)
        else:
            yield flagged(number, 2, shard=number % 3, usable="no" if number % 100 == 50 else "yes", reasons="Dim.")


def built(shots: list[ShotRows]) -> dict[str, str]:
    return dict(build_pages(lambda: shots, run="r0", version="1"))


def targets(page: str, source: str) -> list[str]:
    """What a page links to or shows, relative to the results folder, with the place on it after a #."""
    reached = []
    for given_as in re.findall(r'(?:href|src)="([^"]*)"', source):
        parts = urlsplit(urljoin(HERE + page, given_as))
        whole = f"{parts.scheme}://{parts.netloc}{parts.path}"
        assert whole.startswith(HERE), given_as
        reached.append(unquote(whole.removeprefix(HERE)) + (f"#{parts.fragment}" if parts.fragment else ""))
    return reached


def lines_of(index: str) -> list[list[str]]:
    """The texts of the cells of each line of the table."""
    body = index.partition("<tbody>")[2].partition("</tbody>")[0]
    return [
        [" ".join(re.sub(r"<[^>]+>", " ", cell).split()) for cell in re.findall(r"<t[hd].*?</t[hd]>", line, re.DOTALL)]
        for line in body.split("</tr>")[:-1]
    ]


@pytest.fixture(scope="module")
def pages() -> dict[str, str]:
    return dict(build_pages(season, run="r0", version="1"))


class TestSeason:
    def test_pages_stand_flat_up_to_ten_thousand_shots_and_in_folders_beyond(self, pages: dict[str, str]) -> None:
        flat = [f"pages/{number:03d}.html" for number in range(1, 201)]
        assert list(pages) == [*flat, *(f"pages/part-002/{n:05d}.html" for n in range(201, 210)), "index.html"]

    def test_every_shot_stands_on_one_page(self, pages: dict[str, str]) -> None:
        found = Counter(int(n) for text in pages.values() for n in re.findall(r'<article id="shot-(\d+)"', text))
        assert found == Counter(range(1, SEASON + 1))
        assert max(text.count("<article") for text in pages.values()) == SHOTS_A_PAGE

    def test_every_link_leads_to_what_stands(self, pages: dict[str, str]) -> None:
        pictures = {path for shot in season() for path in shot.files}
        tables = {"candidates.csv", "shots.csv"}
        reached: set[str] = set()
        for page, text in pages.items():
            to = targets(page, text)
            reached.update(to)
            assert {link.removesuffix("#top") for link in to} - {page} <= {*pages, *pictures, *tables}, page
        assert pictures | tables <= reached

    def test_later_leads_through_all_pages_and_earlier_back(self, pages: dict[str, str]) -> None:
        inner = [page for page in pages if page != "index.html"]
        for label, way in ((words.LATER, inner), (words.EARLIER, inner[::-1])):
            here, walked = way[0], [way[0]]
            while step := re.search(rf'<a href="([^"]+)">{label}<', pages[here]):
                here = urljoin(HERE + here, step[1]).removeprefix(HERE)
                walked.append(here)
            assert walked == way

    def test_the_index_lists_pages_and_no_shots(self, pages: dict[str, str]) -> None:
        index = pages["index.html"]
        lines = lines_of(index)
        assert len(lines) == 209
        assert "<article" not in index
        assert "#shot-" not in index
        assert lines[0][0] == "1 to 50 day 00/00000.jpg until day 00/00049.jpg"
        assert lines[-1][0] == "10401 to 10450 day 20/10400.jpg until day 20/10449.jpg"
        links = [to for to in targets("index.html", index) if to.startswith("pages/")]
        assert links == [page for page in pages if page != "index.html"]

    def test_its_lines_add_up_to_its_sums(self, pages: dict[str, str]) -> None:
        cells = lines_of(pages["index.html"])
        read = len(range(0, SEASON, 25))
        again = len([n for n in range(0, SEASON, 25) if n % 100 == 50])
        assert sum(int(line[1].removesuffix(" flagged")) for line in cells) == 2 * read
        notes = " ".join(line[2] for line in cells)
        assert sum(map(int, re.findall(r"(\d+) to take again", notes))) == again
        assert sum(map(int, re.findall(r"(\d+) could not be read", notes))) == SEASON - read
        for sum_of_all in (
            f"{2 * read} flagged in all",
            f"{again} to take again",
            f"{SEASON - read} could not be read",
        ):
            assert f"<li>{sum_of_all}</li>" in pages["index.html"]

    def test_no_folder_of_pages_grows_without_end(self) -> None:
        folders = Counter(PurePosixPath(page_file(number)).parent for number in range(1, 3001))
        assert set(folders.values()) == {200}


class TestIndex:
    def test_lists_five_thousand_shots_and_then_pages(self) -> None:
        shots = [unread(number) for number in range(SHOTS_LISTED + 1)]
        index = built(shots[:-1])["index.html"]
        assert len(lines_of(index)) == len(re.findall(r'href="pages/\d{3}\.html#shot-\d+"', index)) == SHOTS_LISTED
        index = built(shots)["index.html"]
        assert len(lines_of(index)) == 101
        assert lines_of(index)[-1] == ["5001 to 5001 day 10/05000.jpg", "", "1 could not be read"]

    def test_a_line_counts_blanks_apart_and_says_nothing_of_shots_that_were_not_read(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr("cli.pages.glance.SHOTS_LISTED", 200)
        of_page = {
            1: [flagged(n, 3, view="blank" if n == 7 else "") for n in range(50)],
            2: [unread(n) for n in range(50, 100)],
            3: [flagged(n, 0, usable="no", reasons="Dim. Small.") for n in range(100, 150)],
            4: [flagged(n, 0) for n in range(150, 200)],
            5: [unread(200), flagged(201, 0, usable="no", reasons="Dim.")],
        }
        lines = lines_of(built([shot for shots in of_page.values() for shot in shots])["index.html"])
        told = [line[1:] for line in lines]
        none = words.NONE_FLAGGED
        assert told == [
            ["147 flagged 3 more on blanks", ""],
            ["", "50 could not be read"],
            [none, "50 to take again"],
            [none, ""],
            [none, "1 to take again 1 could not be read"],
        ]

    def test_comes_after_what_it_links_to(self) -> None:
        made = build_pages(lambda: [flagged(n) for n in range(201)], run="r0", version="1")
        assert [name for name, _ in made][-1] == "index.html"

    def test_of_no_shots(self) -> None:
        made = built([])
        assert list(made) == ["index.html"]
        assert "<li>0 shots</li>" in made["index.html"]
        assert "<table" not in made["index.html"]


WHY_CHARACTERS = 20_000


def peak_bytes(shots: int) -> int:
    """The most that is held while the pages of shots with long words are made, each page let go as the next comes."""

    def walk() -> Iterator[ShotRows]:
        at = [column.name for column in CANDIDATES].index("why")
        for number in range(shots):
            made = flagged(number)
            made.candidates[0][at] = f"{number:05d}" + "x" * WHY_CHARACTERS  # type: ignore[index]
            yield made

    tracemalloc.start()
    try:
        for _ in build_pages(walk, run="r0", version="1"):
            # jinja2 leaves rings of objects behind; Python would take them away at its own time.
            gc.collect()
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


def peak_bytes_apart(shots: int) -> int:
    """The same in a process of its own, where no thread that another test has left behind takes memory."""
    code = f"from test_many_pages import peak_bytes; print(peak_bytes({shots}))"
    here = Path(__file__).parent
    environment = os.environ | {"PYTHONPATH": os.pathsep.join([str(here), str(here.parent)])}
    done = subprocess.run([sys.executable, "-c", code], env=environment, capture_output=True, text=True, check=True)
    return int(done.stdout)


class TestMemory:
    def test_does_not_grow_with_the_shots(self) -> None:
        few, many = peak_bytes_apart(250), peak_bytes_apart(500)
        assert few > 50 * WHY_CHARACTERS, "a page is held as a whole"
        assert many < few + 25 * WHY_CHARACTERS, "two hundred and fifty more shots are less than half a page more"

    def test_walks_over_the_shots_twice(self) -> None:
        walks = []

        def walk() -> list[ShotRows]:
            walks.append("walk")
            return [flagged(number) for number in range(201)]

        for _ in build_pages(walk, run="r0", version="1"):
            pass
        assert len(walks) == 2

    def test_of_very_many_a_line_a_page_is_kept(self, monkeypatch: pytest.MonkeyPatch) -> None:
        shots = [unread(number) for number in range(301)]
        monkeypatch.setattr("cli.pages.glance.SHOTS_LISTED", 300)
        assert len(look_over(shots[:300]).lines) == 300
        glance = look_over(shots)
        assert glance.lines == ()
        assert len(glance.pages) == 7
        assert glance.shots == 301


HASHES = st.text("0123456789abcdef", min_size=64, max_size=64)


class TestPictures:
    def test_shard_nought_stands_as_it_always_did(self) -> None:
        small = shot_files("a/b.jpg", "ab" * 32).small
        assert in_shard(small, 0) == small == "pages/b-abababab-small.jpg"

    def test_later_shards_have_folders(self) -> None:
        files = ShotFiles(*(in_shard(path, 1) for path in paths_of(shot_files("a/b.jpg", "ab" * 32))))
        assert files.annotated == "pictures/00001/b-abababab.jpg"
        assert files.unmarked == "pictures/00001/b-abababab-unmarked.jpg"
        assert files.small == "pages/00001/b-abababab-small.jpg"
        assert files.crops == "pages/00001/b-abababab-crops.jpg"

    def test_ten_thousand_shots_to_a_shard(self) -> None:
        assert Counter(shard_at(position) for position in range(25_000)) == {
            0: SHOTS_A_SHARD,
            1: SHOTS_A_SHARD,
            2: 5000,
        }
        assert SHOTS_A_SHARD == 10_000

    @given(st.text(min_size=1, max_size=80), HASHES, st.integers(0, 200_000), st.data())
    @settings(max_examples=100, deadline=None)
    def test_a_recorded_path_tells_which_picture_it_is(
        self, name: str, sha256: str, shard: int, data: st.DataObject
    ) -> None:
        files = [in_shard(path, shard) for path in paths_of(shot_files(name, sha256))]
        assert paths_of(shot_files_among(data.draw(st.permutations(files)))) == files

    @pytest.mark.parametrize(
        "name", ["x-unmarked.jpg", "x-small.jpg", "x-crops.jpg", "unmarked", "-unmarked", "a.jpg.jpg"]
    )
    def test_whatever_the_shot_is_called(self, name: str) -> None:
        files = shot_files(name, "ab" * 32)
        assert shot_files_among(paths_of(files)) == files

    def test_what_was_not_recorded_is_not_there(self) -> None:
        files = shot_files("a.jpg", "ab" * 32)
        assert shot_files_among([]) == ShotFiles()
        assert shot_files_among([files.unmarked, "notes/a.jpg", "pages/a.html"]) == ShotFiles(unmarked=files.unmarked)

    def test_pages_link_what_was_recorded_wherever_it_stands(self) -> None:
        """The third shot of the table may well have been taken on as the 20,000th."""
        shots = [flagged(n, shard=2 if n == 2 else 0) for n in range(3)]
        to = targets("index.html", built(shots)["index.html"])
        assert {path for shot in shots for path in shot.files} <= set(to)
        assert sum(path.startswith(("pictures/00002/", "pages/00002/")) for path in to) >= 4

    def test_a_picture_that_is_missing_is_not_linked(self) -> None:
        shot = flagged(1)
        annotated, unmarked, small, crops = shot.files
        shown = targets("index.html", built([ShotRows(shot.row, shot.candidates, [annotated, crops])])["index.html"])
        assert annotated in shown
        assert crops in shown
        assert not {unmarked, small} & set(shown)


class TestPlaces:
    def test_folders_of_pages_and_of_small_pictures_never_meet(self) -> None:
        of_pages = {PurePosixPath(page_file(number)).parent for number in range(1, 200_001, 100)}
        of_pictures = {PurePosixPath(in_shard("pages/a-small.jpg", shard)).parent for shard in range(1001)}
        assert of_pages & of_pictures == {PurePosixPath("pages")}
        assert {each.parent for each in of_pages | of_pictures} == {PurePosixPath("pages"), PurePosixPath(".")}

    @given(st.integers(1, 400_000), st.integers(1, 400_000))
    def test_each_page_has_a_place_and_a_way_to_every_other(self, one: int, other: int) -> None:
        a, b = page_file(one), page_file(other)
        assert (a == b) == (one == other)
        assert urljoin(HERE + a, from_page_to(a, b)) == HERE + b
        assert urljoin(HERE + a, up_from(a) + "index.html") == HERE + "index.html"

    def test_from_the_index_the_folder_is_here(self) -> None:
        assert up_from("index.html") == "./"
