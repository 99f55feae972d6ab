"""A page as a PDF, printed by a browser that is installed, and read back by pypdf. All invented (`lot_folder.py`)."""

from __future__ import annotations

import io
import os
import stat
import unicodedata
from pathlib import Path
from typing import Any

import pytest
from lot_folder import LOT, Taken, people_on, write_lots
from test_record_page import HEBREW

from cli.entry import run
from cli.lots import print_page
from cli.lots.print_page import NO_BROWSER, NotPrinted, as_pdf, browser
from vision.errors import CallError

# ISO 216 and ANSI/ASME Y14.1, in points of 1/72 inch.
SIZES_PT = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
MARGIN_PT = 15 / 25.4 * 72


@pytest.fixture(scope="module", params=sorted(SIZES_PT))
def printed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Any]:
    """The record of a lot with a Hebrew name, on each paper, as pypdf reads it."""
    if browser() is None:
        pytest.skip("needs Debian's package chromium")
    pypdf = pytest.importorskip("pypdf", reason="needs the package pypdf from PyPI")
    place = tmp_path_factory.mktemp("printed")
    shots = [Taken(f"leaf {k}.jpg", 2, piece=str(k), view="underside", lot=HEBREW, seed=k) for k in range(4)]
    folder = write_lots(place / "out", *shots)
    people = people_on(*shots)
    for shot in people.shelf.shots:
        for speck in people.flags(shot.name):
            people.insect(speck, by="אורית לוי")
    people.keep(folder)
    out = place / "lot.pdf"
    assert run(["report", str(folder), "--out", str(out), "--paper", request.param]) == 0
    return request.param, pypdf.PdfReader(io.BytesIO(out.read_bytes()))


def test_every_sheet_has_the_papers_size(printed: tuple[str, Any]) -> None:
    paper, pdf = printed
    assert pdf.pages
    for page in pdf.pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(SIZES_PT[paper], abs=1.0)


def test_the_record_is_on_it(printed: tuple[str, Any]) -> None:
    _, pdf = printed
    # A browser draws fi and fl as one letter each.
    text = unicodedata.normalize("NFKC", "\n".join(page.extract_text() for page in pdf.pages))
    for words in ("What was not looked at", "Confirmed insects", "The decision", "To be signed by hand"):
        assert words in text
    # No foot or head of the browser's own: no address and no time of printing.
    assert "file://" not in text
    assert "record.html" not in text


def test_hebrew_is_on_it(printed: tuple[str, Any]) -> None:
    text = "".join(page.extract_text() for page in printed[1].pages)
    # A PDF holds glyphs as they stand, so a line's letters may come in either order.
    assert "כרובית" in text or "כרובית"[::-1] in text
    assert "אורית" in text or "אורית"[::-1] in text


def test_pictures_are_on_it_and_nothing_leaves_the_margins(printed: tuple[str, Any]) -> None:
    _, pdf = printed
    assert sum(len(page.images) for page in pdf.pages) >= 1
    places: list[tuple[float, float]] = []

    def note(text: str, matrix: list[float], text_matrix: list[float], *_: Any) -> None:
        if text.strip():
            x, y = text_matrix[4], text_matrix[5]
            a, b, c, d, e, f = matrix
            places.append((a * x + c * y + e, b * x + d * y + f))

    for page in pdf.pages:
        page.extract_text(visitor_text=note)
    wide = float(pdf.pages[0].mediabox.width)
    assert places
    assert all(MARGIN_PT - 1 <= x <= wide - MARGIN_PT + 1 for x, _ in places)


def made_browser(folder: Path, script: str) -> None:
    program = folder / "chromium"
    program.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    program.chmod(program.stat().st_mode | stat.S_IXUSR)


class TestWithout:
    def test_no_browser(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setenv("PATH", str(tmp_path))
        assert browser() is None
        with pytest.raises(CallError):
            as_pdf("<p>x</p>")
        assert run(["report", "--blank", "--out", str(tmp_path / "blank.pdf")]) == 2
        assert capsys.readouterr().err == f"speckwise: {NO_BROWSER}\n"
        assert not (tmp_path / "blank.pdf").exists()

    @pytest.mark.parametrize("script", ["exit 0", "exit 3", "kill -9 $$"])
    def test_one_that_prints_nothing(self, script: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        made_browser(tmp_path, script)
        monkeypatch.setenv("PATH", str(tmp_path) + os.pathsep + os.environ["PATH"])
        with pytest.raises(NotPrinted, match=r"chromium did not print the page\. Write an \.html"):
            as_pdf("<p>x</p>")

    def test_one_that_hangs(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        made_browser(tmp_path, "exec sleep 30")
        monkeypatch.setenv("PATH", str(tmp_path) + os.pathsep + os.environ["PATH"])
        monkeypatch.setattr(print_page, "_LIMIT_S", 0.2)
        with pytest.raises(NotPrinted):
            as_pdf("<p>x</p>")

    def test_one_that_cannot_be_started(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (tmp_path / "chromium").write_text("no program", encoding="utf-8")
        (tmp_path / "chromium").chmod(0o700)
        monkeypatch.setenv("PATH", str(tmp_path))
        with pytest.raises(NotPrinted):
            as_pdf("<p>x</p>")

    def test_it_is_asked_to_print_one_file_and_its_folder_is_gone_afterwards(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        made_browser(
            tmp_path,
            f'for word; do case "$word" in --print-to-pdf=*) echo "$@" > {tmp_path}/said; '
            'printf "%%PDF-made" > "${word#*=}";; esac; done',
        )
        monkeypatch.setenv("PATH", str(tmp_path) + os.pathsep + os.environ["PATH"])
        assert as_pdf(f"<p>{LOT}</p>") == b"%PDF-made"
        said = (tmp_path / "said").read_text(encoding="utf-8").split()
        assert said[-1].startswith("file:///")
        assert not Path(said[-1].removeprefix("file://")).parent.exists()
