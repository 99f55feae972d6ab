"""The results pages: what they say, that every number is the table's, and that no name breaks out of its place."""

from __future__ import annotations

import re
from collections.abc import Mapping
from html.parser import HTMLParser
from importlib import resources
from urllib.parse import unquote

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from cli.pages import words
from cli.pages.glance import ShotRows
from cli.pages.index import build_pages
from cli.pages.names import link, shot_files
from vision.table import CANDIDATES, SHOTS, format_cell

FORBIDDEN = re.compile(r"\b(clean|clear|cleared|pass|passed|passes|safe|free|ok|okay)\b|[✓✔☑✅🟢👍]", re.IGNORECASE)
RUN, VERSION = "r0123456789ab", "9.8.7"
WITHOUT_END = {"meta", "img", "br", "link"}


class Page(HTMLParser):
    """Elements with their attributes, the text, and whether every element that was opened was closed in turn."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str]]] = []
        self.open: list[str] = []
        self.texts: list[str] = []
        self.feed(source)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, {name: value or "" for name, value in attrs}))
        if tag not in WITHOUT_END:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] != "style":
            self.texts.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())

    def all(self, tag: str) -> list[dict[str, str]]:
        return [attributes for name, attributes in self.elements if name == tag]


def shot_cells(shot: str = "tray.jpg", **cells: object) -> list[str]:
    told: dict[str, object] = {
        "shot": shot,
        "shot_sha256": "ab" * 32,
        "run": RUN,
        "produce": "leek",
        "width_px": 4000,
        "height_px": 3000,
        "px_per_mm": 20.0,
        "scale_from": "option",
        "ground": "water",
        "lit_from": "below",
        "unsearched_pct": 12.34,
        "usable": "yes",
        "limit_round_mm": 0.321,
        "limit_linear_mm": 0.138,
        "candidates": 0,
    } | cells
    return [format_cell(column, told.get(column.name)) for column in SHOTS]  # type: ignore[arg-type]


def candidate_cells(number: int, shot: str = "tray.jpg", **cells: object) -> list[str]:
    told: dict[str, object] = {
        "shot": shot,
        "shot_sha256": "ab" * 32,
        "run": RUN,
        "candidate": number,
        "x_px": 100.0 * number,
        "y_px": 50.25,
        "x_mm": 5.0 * number,
        "y_mm": 2.51,
        "left_px": 100 * number - 20,
        "top_px": 40,
        "wide_px": 41,
        "high_px": 22,
        "shape": "round",
        "length_mm": 1.926 + number,
        "width_mm": 0.871,
        "size_uncertainty": 0.08,
        "resembles": "aphid",
        "why": "brown, roundish",
        "score": 0.5 + number / 1000,
        "found_by": "tool",
    } | cells
    return [format_cell(column, told.get(column.name)) for column in CANDIDATES]  # type: ignore[arg-type]


def files_of(*shots: list[str]) -> list[str]:
    files = [shot_files(cells[0 + _at("shot")].removeprefix("'"), cells[_at("shot_sha256")]) for cells in shots]
    return [path for one in files for path in (one.annotated, one.unmarked, one.small, one.crops)]


def _at(name: str) -> int:
    return [column.name for column in SHOTS].index(name)


def _shot_of(candidate: list[str]) -> str:
    return candidate[[column.name for column in CANDIDATES].index("shot")]


def pages(shots: list[list[str]], candidates: list[list[str]] | None = None) -> Mapping[str, str]:
    rows = [
        ShotRows(cells, [c for c in candidates or [] if _shot_of(c) == cells[_at("shot")]], files_of(cells))
        for cells in shots
    ]
    return dict(build_pages(lambda: rows, run=RUN, version=VERSION))


def index(shots: list[list[str]], candidates: list[list[str]] | None = None) -> Page:
    return Page(pages(shots, candidates)["index.html"])


class TestWords:
    def test_none_is_forbidden(self) -> None:
        ours = [text for name, text in vars(words).items() if name.isupper()]
        told = [str(list(text.values()) if isinstance(text, dict) else text) for text in ours]
        assert len(told) > 40
        for text in told:
            assert FORBIDDEN.search(text) is None, text

    def test_templates_hold_no_words_of_their_own(self) -> None:
        templates = resources.files("cli.pages").joinpath("templates")
        seen = 0
        for template in templates.iterdir():
            if not template.name.endswith(".j2"):
                continue
            seen += 1
            source = template.read_text(encoding="utf-8")
            source = re.sub(r"\{%.*?%\}|\{\{.*?\}\}", "", source, flags=re.DOTALL)
            source = re.sub(r"<[^>]*>", "", source)
            left = set(re.findall(r"[A-Za-z]{2,}", source)) - {"candidates", "shots", "csv"}
            assert not left, (template.name, left)
        assert seen == 5

    def test_a_page_with_everything_on_it(self) -> None:
        shots = [
            shot_cells("a.jpg", candidates=2),
            shot_cells("b.jpg", usable="no", reasons="It is blurred.", px_per_mm=None, limit_round_mm=None),
            shot_cells("c.jpg", error="c.jpg is not a picture.", usable=None),
            shot_cells("d.jpg", duplicate_of="a.jpg", drift="The panel is dimmer."),
        ]
        found = [candidate_cells(1, "a.jpg"), candidate_cells(2, "a.jpg", wide_px=900, size_uncertainty=None)]
        text = index(shots, found).text
        assert FORBIDDEN.search(text) is None
        for sentence in (
            "4 shots",
            "2 flagged in all",
            "1 to take again",
            "1 could not be read",
            words.WHO_DECIDES,
            "This is an assist, not a clearance.",
            "shellfish or dust-mite allergy. This is no allergen statement.",
            f"Made by speckwise {VERSION}, run {RUN}.",
            "Take this shot again: It is blurred.",
            "This shot could not be read or scored: c.jpg is not a picture.",
            "byte for byte, as a.jpg",
            "The panel is dimmer.",
            words.NOT_WHOLE,
            words.UNCERTAINTY_UNKNOWN,
        ):
            assert sentence in text

    def test_nothing_flagged(self) -> None:
        text = index([shot_cells("a.jpg"), shot_cells("b.jpg")]).text
        assert text.count("0 flagged. That is not a finding of none.") == 4
        assert "0 flagged in all. That is not a finding of none." in text
        assert "round 0.32 mm across, thin 0.14 mm wide" in text
        assert "12.3% of the picture" in text
        assert words.WHO_DECIDES in text


class TestNumbers:
    def test_are_the_tables(self) -> None:
        shots = [shot_cells(candidates=3)]
        found = [candidate_cells(n) for n in (1, 2, 3)]
        text = index(shots, found).text
        at = {column.name: k for k, column in enumerate(CANDIDATES)}
        for row in found:
            length, width = row[at["length_mm"]], row[at["width_mm"]]
            told = (
                f"{row[at['candidate']]} {length} mm × {width} mm ± 8% resembles: aphid brown, roundish "
                f"{row[at['x_mm']]} mm from the left, {row[at['y_mm']]} mm from the top"
            )
            assert told in text
        assert "20.00 px/mm as given by hand" in text

    def test_a_score_is_never_a_chance(self) -> None:
        text = index([shot_cells(candidates=1)], [candidate_cells(1)]).text
        assert text.count("0.501") == 1
        assert "order score 0.501, not a chance" in text
        assert not re.search(r"probab|likel|confiden|\bodds\b", text, re.IGNORECASE)

    def test_without_a_scale_sizes_are_px(self) -> None:
        none = dict.fromkeys(("length_mm", "width_mm", "size_uncertainty", "x_mm", "y_mm"))
        text = index([shot_cells(candidates=1, px_per_mm=None)], [candidate_cells(1, **none)]).text
        assert "box of 41 px × 22 px; size in mm not known" in text
        assert "100.0 px from the left, 50.2 px from the top" in text
        assert "unknown without a scale" in text
        assert "Without a scale each small window is 120 px" in text

    def test_crops_stand_in_picture_order(self) -> None:
        places = {1: (900, 500), 2: (100, 510), 3: (500, 10)}
        found = [candidate_cells(n, left_px=x, top_px=y) for n, (x, y) in places.items()]
        page = index([shot_cells(candidates=3)], found)
        crops = [image["alt"] for image in page.all("img") if "left:" in image.get("style", "")]
        assert crops == [words.CROP_ALT.format(n=n) for n in (3, 2, 1)]

    @pytest.mark.parametrize("px_per_mm", [7.5, 20.0, 80.0])
    def test_crops_have_one_scale(self, px_per_mm: float) -> None:
        """Whatever the shot's scale: 6 mm are shown 42 mm wide."""
        source = pages([shot_cells(candidates=1, px_per_mm=px_per_mm)], [candidate_cells(1)])["index.html"]
        side = round(-(-(41 / px_per_mm / 6 + 0.25) // 1)) * 42
        assert f'class="window" style="width:{side}mm;' in source
        assert 'class="bar" style="width:14mm"' in source

    def test_what_a_person_added_has_no_crop(self) -> None:
        found = [candidate_cells(1), candidate_cells(100001, found_by="person", note="seen in hand")]
        page = index([shot_cells(candidates=1)], found)
        assert "100001" not in page.text


NAMES = [
    "<script>alert(1)</script>.jpg",
    '"><img src=x onerror=alert(1)>.jpg',
    "' onmouseover='x.jpg",
    "a&amp;b & c.jpg",
    "100% #1?.jpg",
    "=SUM(A1).jpg",
    "day 1/מגש מים 🐛.jpg",
    "2:IMG_1.jpg",
    "javascript:alert(1)",
    "{{ 7 * 7 }}{% raw %}.jpg",
]


class TestNames:
    @pytest.mark.parametrize("name", NAMES)
    def test_no_name_breaks_out(self, name: str) -> None:
        shots = [shot_cells(name, candidates=1, produce=name, reasons=name), shot_cells("other.jpg", duplicate_of=name)]
        found = [candidate_cells(1, name, why=name, resembles=name)]
        page = index(shots, found)
        plain_shots = [shot_cells("x", candidates=1, reasons="x"), shot_cells("other.jpg", duplicate_of="x")]
        plain = index(plain_shots, [candidate_cells(1, "x")])
        assert [tag for tag, _ in page.elements if tag != "bdi"] == [tag for tag, _ in plain.elements if tag != "bdi"]
        assert [set(a) for _, a in page.elements] == [set(a) for _, a in plain.elements]
        assert page.text.count(" ".join(name.split())) >= 6

    @pytest.mark.parametrize("name", NAMES)
    def test_links_lead_to_the_files(self, name: str) -> None:
        shots = [shot_cells(name, candidates=1)]
        source = pages(shots, [candidate_cells(1, name)])["index.html"]
        page = Page(source)
        anchors = {attributes["id"] for _, attributes in page.elements if "id" in attributes}
        targets = [a["href"] for a in page.all("a")] + [image["src"] for image in page.all("img")]
        reached = set()
        for target in targets:
            if target.startswith("#"):
                assert target[1:] in anchors
                continue
            assert target.startswith("./")
            assert re.fullmatch(r"[A-Za-z0-9_.~/%-]+", target)
            reached.add(unquote(target[2:]))
        assert reached == {*files_of(*shots), "candidates.csv", "shots.csv"}

    def test_names_keep_their_direction(self) -> None:
        page = index([shot_cells("מגש.jpg"), shot_cells("b.jpg")])
        assert page.all("bdi")
        assert all(attributes["dir"] == "auto" for attributes in page.all("bdi"))

    @given(st.text(min_size=1, max_size=300), st.text("0123456789abcdef", min_size=64, max_size=64))
    @settings(max_examples=80, deadline=None)
    def test_any_name_gives_file_names_that_fit(self, name: str, sha256: str) -> None:
        files = shot_files(name, sha256)
        for path in (files.annotated, files.unmarked, files.small, files.crops):
            folder, _, file = path.partition("/")
            assert folder in ("pictures", "pages")
            assert len(file.encode("utf-8")) <= 230
            assert "/" not in file
            assert sha256[:8] in file
            assert unquote(link(path)) == path

    def test_file_names_as_the_folder_contract_has_them(self) -> None:
        assert shot_files("day 1/" + "x" * 70 + ".jpg", "0123456789").annotated == f"pictures/{'x' * 60}-01234567.jpg"
        assert shot_files("2:IMG_1.jpg", "ab" * 32).annotated == "pictures/IMG_1-abababab.jpg"
        assert shot_files("IMG_1.jpg", "a" * 64) != shot_files("IMG_1.heic", "b" * 64)


class TestPage:
    def test_needs_no_script_and_nothing_from_outside(self) -> None:
        for source in pages([shot_cells(candidates=1)], [candidate_cells(1)]).values():
            page = Page(source)
            assert not page.all("script")
            assert not page.all("link")
            assert "//" not in re.sub(r"/\*.*?\*/", "", source, flags=re.DOTALL).replace("<!DOCTYPE html>", "")
            assert "url(" not in source
            assert "@import" not in source
            assert not any(name.startswith("on") for _, attributes in page.elements for name in attributes)

    def test_is_told_to_those_who_listen(self) -> None:
        found = [candidate_cells(1, "a.jpg"), candidate_cells(2, "a.jpg")]
        page = index([shot_cells("a.jpg", candidates=2), shot_cells("b.jpg")], found)
        assert page.all("html")[0]["lang"] == "en"
        assert len(page.all("h1")) == 1
        assert len(page.all("main")) == 1
        assert all(image["alt"] for image in page.all("img"))
        assert len({attributes["id"] for _, attributes in page.elements if "id" in attributes}) == sum(
            "id" in attributes for _, attributes in page.elements
        )

    def test_pictures_that_are_not_there_are_not_linked(self) -> None:
        bare = ShotRows(shot_cells(candidates=1), [candidate_cells(1)], [])
        page = Page(dict(build_pages(lambda: [bare], run=RUN, version=VERSION))["index.html"])
        assert page.all("img") == []
        assert words.NO_PICTURE in page.text

    def test_an_unread_shot_has_its_sentence_and_no_numbers(self) -> None:
        bare = [format_cell(c, {"shot": "x.jpg", "run": RUN, "error": "x.jpg is empty."}.get(c.name)) for c in SHOTS]
        text = index([bare]).text
        assert "x.jpg is empty." in text
        assert "1 could not be read" in text
        assert words.SMALLEST not in text

    def test_up_to_two_hundred_shots_stand_on_one_page(self) -> None:
        shots = [shot_cells(f"{n:03d}.jpg") for n in range(200)]
        made = pages(shots)
        assert list(made) == ["index.html"]
        assert len(Page(made["index.html"]).all("article")) == 200

    def test_above_that_the_index_links_to_pages_of_fifty(self) -> None:
        shots = [shot_cells(f"{n:03d}.jpg", candidates=1) for n in range(201)]
        made = pages(shots, [candidate_cells(1, f"{n:03d}.jpg") for n in range(201)])
        assert list(made) == [*(f"pages/{n:03d}.html" for n in range(1, 6)), "index.html"]
        front = Page(made["index.html"])
        assert front.all("img") == []
        assert front.all("article") == []
        anchors = {
            f"{path}#{article['id']}" for path, source in made.items() for article in Page(source).all("article")
        }
        assert [a["href"] for a in front.all("a") if "#" in a["href"]] == sorted(
            anchors, key=lambda anchor: int(anchor.rpartition("-")[2])
        )
        assert len(anchors) == 201
        inner = Page(made["pages/002.html"])
        assert len(inner.all("article")) == 50
        assert {a["href"] for a in inner.all("a")} >= {"../index.html", "001.html", "003.html"}
        assert all(image["src"].startswith("../p") for image in inner.all("img"))
        assert words.WHO_DECIDES in inner.text
        assert RUN in inner.text


def _css() -> str:
    return resources.files("cli.pages").joinpath("templates", "page.css").read_text(encoding="utf-8")


def _luminance(colour: str) -> float:
    """Relative luminance of an sRGB colour (WCAG 2.2)."""
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


class TestLook:
    @pytest.mark.parametrize("scheme", [0, 1])
    def test_contrast(self, scheme: int) -> None:
        """WCAG 2.2 AA: 4.5 to 1 for text, 3 to 1 for lines that carry meaning."""
        blocks = re.findall(r":root \{(.*?)\}", _css(), flags=re.DOTALL)
        assert len(blocks) == 2
        colours = dict(re.findall(r"--(\w+): (#[0-9a-f]{6})", blocks[scheme]))
        for ground in ("paper", "sheet"):
            for ink, least in (("ink", 7.0), ("quiet", 4.5), ("link", 4.5), ("again", 3.0), ("line", 3.0)):
                a, b = _luminance(colours[ink]), _luminance(colours[ground])
                assert (max(a, b) + 0.05) / (min(a, b) + 0.05) >= least, (ink, ground)

    def test_letters_are_large_and_focus_is_seen(self) -> None:
        size = re.search(r"html \{ font: (\d+)px", _css())
        assert size is not None
        assert int(size[1]) >= 20
        assert re.search(r"a:focus-visible \{ outline: [3-9]px solid", _css())
        smallest = min(float(rem) for rem in re.findall(r"font-size: ([\d.]+)rem", _css()))
        assert smallest * int(size[1]) >= 19

    def test_no_green_light(self) -> None:
        for colour in re.findall(r"#[0-9a-f]{6}", _css()):
            red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
            assert not (green > red + 20 and green > blue + 20), colour
