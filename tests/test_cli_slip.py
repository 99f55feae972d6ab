"""`slip` from the words typed to the file written."""

from __future__ import annotations

from pathlib import Path

import pytest

from cli.entry import run


def test_writes_the_strip_and_says_what_to_do(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "slip.pdf"
    assert run(["slip", "--out", str(out), "--lot", "B-117", "--piece", "1", "--piece", "2", "--copies", "3"]) == 0
    said = capsys.readouterr().out
    assert "6 strips on A4" in said
    assert "100 %" in said
    assert "50.0 mm" in said
    assert "flat" in said
    assert f"Written: {out}" in said
    assert out.read_bytes().startswith(b"%PDF")


def test_corner_pieces_on_letter(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "corners.SVG"
    assert run(["slip", "--out", str(out), "--corners", "--paper", "letter"]) == 0
    assert "1 set of 4 corner pieces on Letter" in capsys.readouterr().out
    assert 'width="215.9mm"' in out.read_text()
    assert out.read_text().count("<g ") == 4


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--out", "slip.gif"], "must end in .pdf, .png or .svg"),
        (["--out", "no folder/slip.pdf"], "is not there"),
        (["--out", "slip.pdf", "--paper", "a3"], "a4 or letter"),
        (["--out", "slip.pdf", "--copies", "0"], "from 1 to"),
        (["--out", "slip.svg", "--copies", "21"], "One page holds 20"),
        (["--out", "slip.pdf", "--lot", "x" * 41], "room for 40"),
        (["--out", "slip.pdf", "--corners", "--lot", "x"], "carry no texts"),
    ],
)
def test_a_wrong_call_is_answered_and_nothing_is_written(
    words: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["slip", *words]) == 2
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []
