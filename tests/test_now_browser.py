"""The page beside the panel in a real browser: read from a metre away, kept new by itself, and honest when nobody watches."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from test_house import forbidden
from test_review_pages import faults_of

from cli.batch.live import shown_of
from cli.batch.told import ShotTold
from cli.pages.now import Counted, build_now, short
from vision.words import NONE_FLAGGED, WHO_DECIDES

pytestmark = pytest.mark.slow

MM_PX = 96 / 25.4
"""CSS Values and Units 3: 96 px are 25.4 mm."""
READING_MM = 1000.0
CAPITAL_MM = 2 * READING_MM * math.tan(math.radians(22 / 60) / 2)
"""ISO 9241-303:2011 recommends characters of 20 to 22 minutes of arc (from memory): the larger of them, at a metre."""
SCREENS = [(1280, 800), (800, 600), (360, 740)]

KEEP = ShotTold("03-rinse-water-sample-1.jpg", 17, True, limit_round_mm="0.10", limit_linear_mm="0.10")
NONE = ShotTold("IMG_0412.HEIC", 0, True, limit_round_mm="0.15", limit_linear_mm="0.08")
AGAIN = ShotTold(
    "IMG_0413.HEIC",
    10,
    False,
    "Out of focus or moved: the sharpest edges are soft; hold still, focus on the produce. More.",
)
UNREAD = ShotTold("IMG_0414.HEIC", 0, error="The file breaks off before the picture ends; copy it again.")
TWIN = ShotTold("IMG_0415.HEIC", 0, duplicate_of="IMG_0412.HEIC")
HEBREW = ShotTold("מגש מים 7.jpg", 2, True, limit_round_mm="0.10")
LONG = ShotTold(
    "larkmoor house/2026-07-14/" + "broccoli_florets_opened_" * 12 + "IMG_20260714_101112.jpg", 1234, False,
    "The picture was enlarged 2.0 times or more after it was taken: use the lens's own 2x, not the screen's, and lay the slip flat on "
    "the panel where all of it shows and nothing covers it.", left_out=56,
)  # fmt: skip
MARKUP = ShotTold("<b>bold</b> & \"so\" <script>document.title='x'</script>.jpg", 1, True)
BEFORE = [NONE, AGAIN, KEEP, UNREAD, HEBREW, LONG, TWIN]


def written(*told: ShotTold, busy: bool = False, ended: bool = False, ago_s: float = 0.0, kept: int = 0) -> str:
    """The page as it is written; the newest shot first."""
    latest = tuple(shown_of(each) for each in told)
    return build_now(
        latest, Counted(len(latest), 12, kept), busy, ended, datetime.now().astimezone() - timedelta(seconds=ago_s)
    )


CASES: dict[str, Callable[[], str]] = {
    "keep": lambda: written(KEEP, *BEFORE),
    "none": lambda: written(NONE, *BEFORE),
    "again": lambda: written(AGAIN, *BEFORE),
    "unread": lambda: written(UNREAD, *BEFORE),
    "twin": lambda: written(TWIN, *BEFORE),
    "right to left": lambda: written(HEBREW, *BEFORE),
    "long": lambda: written(LONG, *BEFORE),
    "waiting": lambda: written(kept=40),
    "looking": lambda: written(KEEP, *BEFORE, busy=True),
    "ended": lambda: written(AGAIN, *BEFORE, ended=True),
    "old": lambda: written(KEEP, *BEFORE, ago_s=60),
}


Looks = Callable[[tuple[int, int]], dict[str, Any]]


class Shown:
    """A screen that shows the page of a folder."""

    def __init__(self, browser: Any, folder: Path, size: tuple[int, int] = (1280, 800), **how: Any) -> None:
        self.file = folder / "now.html"
        self.context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **how)
        self.page = self.context.new_page()
        self.faults: list[str] = []
        self.asked: list[str] = []
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.on("request", lambda request: self.asked.append(request.url))

    def write(self, html: str) -> None:
        """As the watching does: whole, and then in the place of the old one."""
        (self.file.parent / ".part").write_text(html, encoding="utf-8")
        (self.file.parent / ".part").replace(self.file)

    def open(self, html: str) -> Any:
        self.write(html)
        self.page.goto(self.file.as_uri())
        return self.page

    def close(self) -> None:
        assert self.faults == []
        assert all(url.split("?")[0] == self.file.as_uri() for url in self.asked)
        self.context.close()


@pytest.fixture
def shown(browser: Any, tmp_path: Path) -> Iterator[Shown]:
    """A laptop's screen."""
    screen = Shown(browser, tmp_path)
    yield screen
    screen.close()


# Of every text that is on the screen its size and the height of its capitals in pixels, as the font has it, and what it says; of
# every part where it stands.
LOOK = """() => {
  const letters = [], draw = document.createElement("canvas").getContext("2d");
  const walk = document.createTreeWalker(document.getElementById("live"), NodeFilter.SHOW_TEXT);
  while (walk.nextNode()) {
    const element = walk.currentNode.parentElement, style = getComputedStyle(element);
    if (!walk.currentNode.data.trim() || !element.checkVisibility()) continue;
    draw.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    letters.push([parseFloat(style.fontSize), draw.measureText("H").actualBoundingBoxAscent, walk.currentNode.data.trim()]);
  }
  const boxes = {};
  for (const part of ["h1", ".state", ".change", ".flags", ".newest", "footer", "ol", "li", "#away", "p", "bdi"]) {
    boxes[part] = [...document.querySelectorAll(part)].filter(each => each.checkVisibility()).map(each => {
      const { left, right, top, bottom } = each.getBoundingClientRect();
      return { left, right, top, bottom };
    });
  }
  const colours = [...document.querySelectorAll("#live, #live *")].flatMap(each => {
    const style = getComputedStyle(each);
    return [style.color, style.backgroundColor, style.borderTopColor];
  });
  return { letters, boxes, colours, wide: document.scrollingElement.scrollWidth, text: document.body.innerText };
}"""


@pytest.fixture(scope="module")
def looks(browser: Any, tmp_path_factory: pytest.TempPathFactory) -> Looks:
    """What is on a screen of a size for each case; looked at once."""
    file = tmp_path_factory.mktemp("now") / "now.html"

    kept: dict[tuple[int, int], dict[str, Any]] = {}

    def look(size: tuple[int, int]) -> dict[str, Any]:
        if size not in kept:
            kept[size] = _looked(browser, file, size)
        return kept[size]

    return look


def _looked(browser: Any, file: Path, size: tuple[int, int]) -> dict[str, Any]:
    page = browser.new_page(viewport={"width": size[0], "height": size[1]})
    found = {}
    for name, make in CASES.items():
        file.write_text(make(), encoding="utf-8")
        page.goto(file.as_uri())
        page.emulate_media(color_scheme="dark")
        dark = page.evaluate(LOOK)["colours"]
        page.emulate_media(color_scheme="light")
        found[name] = page.evaluate(LOOK)
        found[name]["colours"] += dark
    page.close()
    return found


@pytest.mark.parametrize("size", SCREENS, ids=str)
class TestFromAMetreAway:
    def test_letters_are_large_enough_the_verdict_the_largest_and_nothing_runs_out_to_the_side(
        self, looks: Looks, size: tuple[int, int]
    ) -> None:
        for name, seen in looks(size).items():
            letters = seen["letters"]
            assert min(capital for _, capital, _ in letters) / MM_PX >= CAPITAL_MM, name
            top = max(size_px for size_px, _, _ in letters)
            largest = [text for size_px, _, text in letters if size_px == top]
            told = seen["text"].strip().splitlines()
            assert largest == ["Nobody is watching the folder" if name in ("ended", "old") else heading(told)], name
            assert seen["wide"] <= size[0], name
            for part in ("h1", ".newest", "footer", "#away", "p"):
                for box in seen["boxes"][part]:
                    assert box["left"] >= 0, (name, part)
                    assert box["right"] <= size[0] + 0.5, (name, part)


def heading(told: list[str]) -> str:
    """The verdict among the lines of the page."""
    return next(line for line in told if line in VERDICTS)


VERDICTS = ("Keep this shot", "Take it again", "Not scored", "Already here", "Waiting", "Looking")


@pytest.mark.parametrize("name", CASES)
class TestOnTheFirstScreenOfALaptop:
    def test_stands_all_that_matters_in_its_order(self, looks: Looks, name: str) -> None:
        boxes = looks((1280, 800))[name]["boxes"]
        for part in ("h1", ".change", ".flags", ".newest", "footer"):
            for box in boxes[part]:
                assert 0 <= box["top"] < box["bottom"] <= 800, part
        # First the verdict, then the one thing to change, then flags; who decides stands on every page.
        tops = [box["top"] for part in ("h1", ".change", ".flags") for box in boxes[part]]
        assert tops == sorted(tops)
        assert WHO_DECIDES in looks((1280, 800))[name]["text"]

    def test_older_shots_are_shown_in_whole_lines_alone(self, looks: Looks, name: str) -> None:
        boxes = looks((1280, 800))[name]["boxes"]
        for room in boxes["ol"]:
            for line in boxes["li"]:
                is_beside = line["left"] >= room["right"] - 1
                assert is_beside or line["bottom"] <= room["bottom"] + 0.5


class TestWhatItSays:
    def test_axe_finds_no_fault(self, shown: Shown) -> None:
        for name in ("keep", "again", "unread", "looking", "old"):
            page = shown.open(CASES[name]())
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme=scheme)
                assert faults_of(page) == [], (name, scheme)

    def test_no_word_of_clearance_and_no_sign_of_one(self, looks: Looks) -> None:
        for name, seen in looks((1280, 800)).items():
            assert forbidden(seen["text"]) == [], name
            assert "<img" not in CASES[name]()
            assert "<svg" not in CASES[name]()

    def test_nothing_is_green_in_light_or_dark(self, looks: Looks) -> None:
        for name, seen in looks((1280, 800)).items():
            for colour in set(seen["colours"]):
                red, green, blue = (int(part) for part in colour.split("(")[1].rstrip(")").split(",")[:3])
                assert not (green > red + 16 and green > blue + 16), (name, colour)

    def test_each_verdict_has_a_border_of_its_own(self, shown: Shown) -> None:
        """So that no colour is needed to tell them apart."""
        borders = {}
        for told in (KEEP, AGAIN, UNREAD, TWIN):
            style = "getComputedStyle(document.querySelector('.newest')).border"
            page = shown.open(written(told))
            borders[page.inner_text("h1")] = page.evaluate(style + "TopStyle") + page.evaluate(style + "TopWidth")
        assert set(borders) == {"Keep this shot", "Take it again", "Not scored", "Already here"}
        assert len(set(borders.values())) == 4

    def test_a_shot_without_flags(self, shown: Shown) -> None:
        page = shown.open(written(NONE))
        assert page.inner_text(".flags") == NONE_FLAGGED
        assert "round specks from 0.15 mm and thin ones from 0.08 mm wide" in page.inner_text(".newest")

    def test_a_name_from_right_to_left_turns_nothing_else_round(self, shown: Shown) -> None:
        page = shown.open(written(HEBREW))
        name = page.locator(".newest bdi")
        assert name.inner_text() == "מגש מים 7.jpg"
        assert page.evaluate("getComputedStyle(document.querySelector('.newest bdi')).direction") == "rtl"
        line = page.locator(".newest p").last
        assert name.bounding_box()["x"] > line.bounding_box()["x"] + 100
        assert line.inner_text()[2] == ":"

    def test_a_name_is_never_taken_for_markup(self, shown: Shown) -> None:
        page = shown.open(written(MARKUP, KEEP))
        assert page.inner_text(".newest bdi") == short(MARKUP.shot)
        assert page.title().startswith("Keep this shot: <b>bold</b>")
        shown.write(written(AGAIN, MARKUP))
        page.wait_for_function("() => document.querySelector('h1').textContent === 'Take it again'")
        assert page.inner_text("li bdi") == short(MARKUP.shot)
        assert page.locator("b").count() == 0

    def test_before_the_first_shot(self, shown: Shown) -> None:
        page = shown.open(written())
        assert page.inner_text(".newest").split("\n\n") == ["Waiting", "Take the first photograph."]
        page = shown.open(written(kept=1))
        assert "1 stands here from before." in page.inner_text(".newest")
        page = shown.open(written(busy=True))
        assert page.inner_text("h1") == "Looking"

    def test_a_verdict_is_not_taken_for_the_next_ones(self, shown: Shown) -> None:
        page = shown.open(written(KEEP, busy=True))
        assert page.inner_text(".state") == "Looking at the next one. Below is the one before."
        assert page.locator(".state").bounding_box()["y"] < page.locator("h1").bounding_box()["y"]


def test_long_names_are_cut_in_the_middle_between_whole_signs() -> None:
    assert short("IMG_0001.jpg") == "IMG_0001.jpg"
    cut = short("a" * 100 + "IMG_0001.jpg")
    assert cut.endswith("IMG_0001.jpg")
    assert len(cut) <= 42
    accented = short("e\u0301" * 100)
    assert "…\u0301" not in accented
    assert not accented.split("…")[0].endswith("e")


AWAY = "() => document.getElementById('away').checkVisibility()"
HERE = "() => !document.getElementById('away').checkVisibility()"


class TestKeepsItselfNew:
    def test_without_being_loaded_again(self, shown: Shown) -> None:
        page = shown.open(written(KEEP))
        page.evaluate("window.stays = true")
        shown.write(written(AGAIN, KEEP))
        page.wait_for_function("() => document.querySelector('h1').textContent === 'Take it again'", timeout=5000)
        assert page.title() == "Take it again: IMG_0413.HEIC"
        assert page.inner_text("li bdi") == KEEP.shot
        assert page.evaluate("window.stays")
        assert page.evaluate("history.length") <= 2

    def test_over_a_file_that_is_away_for_a_while(self, shown: Shown) -> None:
        """A share that drops out leaves what was on the screen, and the page goes on when it is back."""
        page = shown.open(written(KEEP))
        page.wait_for_timeout(1500)
        shown.file.unlink()
        page.wait_for_timeout(2500)
        assert page.inner_text("h1") == "Keep this shot"
        shown.write(written(UNREAD, KEEP))
        page.wait_for_function("() => document.querySelector('h1').textContent === 'Not scored'", timeout=5000)

    def test_without_scripts(self, browser: Any, tmp_path: Path) -> None:
        screen = Shown(browser, tmp_path, java_script_enabled=False)
        page = screen.open(written(KEEP))
        assert page.inner_text("h1") == "Keep this shot"
        screen.write(written(AGAIN))
        page.locator("h1", has_text="Take it again").wait_for(timeout=8000)
        screen.close()


class TestNobodyWatches:
    def test_is_said_when_watching_has_ended(self, shown: Shown) -> None:
        page = shown.open(CASES["ended"]())
        assert page.evaluate(AWAY)
        assert "Watching ended at" in page.inner_text("#away")
        assert page.title() == "Nobody is watching"
        # What stood there last is still there, and no longer speaks up.
        assert page.inner_text("h1") == "Take it again"
        shown.write(written(KEEP))
        page.wait_for_function(HERE, timeout=5000)

    def test_is_said_of_an_old_page_until_it_is_written_anew(self, shown: Shown) -> None:
        page = shown.open(written(KEEP, ago_s=3600))
        assert page.evaluate(AWAY)
        assert "It was last heard of at" in page.inner_text("#away")
        page.wait_for_timeout(1500)
        assert page.evaluate(AWAY)
        shown.write(written(KEEP))
        page.wait_for_function(HERE, timeout=5000)

    @pytest.mark.parametrize("ahead_s", [-3600, 3600])
    def test_is_not_said_for_a_clock_that_is_wrong_or_set_back(self, shown: Shown, ahead_s: float) -> None:
        """The screen may hang on another machine: that the page changes is what counts."""
        page = shown.open(written(KEEP, ago_s=ahead_s))
        shown.write(written(KEEP, ago_s=ahead_s - 4))
        page.wait_for_function(HERE, timeout=5000)
        page.wait_for_timeout(1200)
        assert page.evaluate(HERE)

    def test_is_said_when_no_more_is_heard(self, shown: Shown) -> None:
        shown.page.clock.install()
        page = shown.open(written(KEEP))
        page.wait_for_timeout(1500)
        page.clock.run_for(8000)
        assert page.evaluate(HERE)
        page.clock.run_for(10000)
        assert page.evaluate(AWAY)
        assert "Waiting for the next photograph" not in page.inner_text("#live")
