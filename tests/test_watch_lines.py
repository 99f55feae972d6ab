"""What is told of a shot that has just been taken, in a line and on the page, and calls of `watch` that are wrong."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from test_house import forbidden

from cli.batch.live import Live, line_of, shown_of
from cli.batch.told import ShotTold
from cli.batch.watching import folder_to_watch
from vision.errors import CallError
from vision.words import WHO_DECIDES

ROOT = Path(__file__).parent.parent


KEEP = ShotTold("water/7.jpg", 17, True, "No scale.", limit_round_mm="0.15", limit_linear_mm="0.08")
AGAIN = ShotTold(
    "water/7.jpg",
    3,
    False,
    "Hold still: the shot moved by about 4 px; use a stand. No scale: sizes.",
    instruction="Hold still: the shot moved by about 4 px; use a stand.",
)


class TestLines:
    """Words are ours; that a shot without flags is no finding of none is the house's rule (docs/house.md)."""

    def said(self, told: ShotTold) -> str:
        return line_of(shown_of(told))[len("00:00:00  ") :]

    def test_keep(self) -> None:
        assert self.said(KEEP) == (
            "water/7.jpg: Keep this shot. 17 flagged. "
            "It could have shown round specks from 0.15 mm and thin ones from 0.08 mm wide."
        )

    def test_keep_with_the_one_thing_to_change_and_what_could_not_be_searched(self) -> None:
        told = replace(KEEP, instruction="Wipe the lens.", unsearched_pct="3.5")
        assert self.said(told) == (
            "water/7.jpg: Keep this shot. Wipe the lens. 17 flagged. It could have shown round specks from 0.15 mm and thin "
            "ones from 0.08 mm wide. 3.5% of it could not be searched."
        )
        assert "searched" not in self.said(replace(KEEP, unsearched_pct="0.0"))

    def test_take_again_with_the_one_thing_to_change(self) -> None:
        assert self.said(AGAIN) == (
            "water/7.jpg: Take it again. Hold still: the shot moved by about 4 px; use a stand. 3 flagged."
        )

    def test_nothing_flagged(self) -> None:
        told = ShotTold("7.jpg", 0, True, limit_round_mm="0.15")
        assert self.said(told) == (
            "7.jpg: Keep this shot. 0 flagged. That is not a finding of none. It could have shown round specks from 0.15 mm."
        )

    def test_how_small_is_not_known(self) -> None:
        assert self.said(ShotTold("7.jpg", 1, True)).endswith(
            "1 flagged. How small a speck it could show is not known."
        )

    def test_not_scored(self) -> None:
        told = ShotTold("7.jpg", 0, True, error="The file breaks off before the picture ends; copy it again.")
        assert self.said(told) == "7.jpg: Not scored. The file breaks off before the picture ends; copy it again."

    def test_twin(self) -> None:
        told = ShotTold("8.jpg", 0, True, duplicate_of="7.jpg")
        assert self.said(told) == "8.jpg: Already here. It is the same photograph, byte for byte, as 7.jpg."

    def test_a_blank_panel(self) -> None:
        told = ShotTold("blank.jpg", 2, True, blank=True, limit_round_mm="0.1")
        assert "2 flagged on the blank panel, before any produce." in self.said(told)

    def test_what_a_limit_left_out(self) -> None:
        assert "5 flagged. 9 more left out by --max-flags." in self.said(ShotTold("7.jpg", 5, True, left_out=9))

    def test_a_name_can_not_move_the_cursor(self) -> None:
        assert "\x1b" not in self.said(ShotTold("\x1b[2J.jpg", 0))

    def test_no_word_of_clearance(self) -> None:
        all_told = [
            KEEP,
            AGAIN,
            ShotTold("7.jpg", 0),
            ShotTold("7.jpg", 0, error="No."),
            ShotTold("8.jpg", 0, duplicate_of="7"),
        ]
        assert [word for told in all_told for word in forbidden(self.said(told))] == []

    def test_quiet_says_what_went_wrong_alone(self, out: Path, capsys: pytest.CaptureFixture[str]) -> None:
        out.mkdir()
        live = Live(out, quiet=True)
        live.shot(KEEP)
        live.shot(ShotTold("7.jpg", 0, error="This is not a picture."))
        told = capsys.readouterr()
        assert told.out == ""
        assert told.err.count("\n") == 1

    def test_the_page_counts_what_is_on_blank_panels_apart(self, out: Path) -> None:
        out.mkdir()
        live = Live(out, quiet=True)
        live.shot(KEEP)
        live.shot(ShotTold("blank.jpg", 2, True, blank=True))
        page = (out / "now.html").read_text()
        assert "2 shots since the start, 17 flagged" in page
        assert WHO_DECIDES in page


class TestWrongCalls:
    @pytest.mark.parametrize("address", ["s3://bucket/in", "https://host/in", "file:/tmp/in"])
    def test_an_address(self, address: str, out: Path) -> None:
        with pytest.raises(CallError, match="is an address"):
            folder_to_watch(Path(address), out)

    def test_no_folder(self, tmp_path: Path, out: Path) -> None:
        (tmp_path / "file").write_bytes(b"")
        for folder in (tmp_path / "nowhere", tmp_path / "file"):
            with pytest.raises(CallError, match="can't be watched"):
                folder_to_watch(folder, out)

    def test_results_among_the_photographs(self, tmp_path: Path) -> None:
        (tmp_path / "in").mkdir()
        with pytest.raises(CallError, match="give another folder for --out"):
            folder_to_watch(tmp_path / "in", tmp_path / "in" / ".." / "in")
