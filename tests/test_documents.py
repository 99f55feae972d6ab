"""Documents and code say the same: columns, modules, commands and options."""

from __future__ import annotations

import re
from pathlib import Path

import typer.main
from remake_readme import README, remade

from cli.app import app
from cli.exits import ALL_DONE, CALL_IS_WRONG, SOME_SHOTS_FAILED, STOPPED_BY_USER, STOPPED_HALF_WAY

ROOT = Path(__file__).parent.parent
HOUSE = (ROOT / "docs" / "house.md").read_text(encoding="utf-8")


def test_readme_has_the_columns_of_the_code() -> None:
    text = README.read_text(encoding="utf-8")
    assert remade(text) == text
    assert text.count("| `") > 60


def test_readme_opens_with_the_job_and_says_what_was_shown() -> None:
    paragraphs = README.read_text(encoding="utf-8").split("\n\n")
    assert "insects" in paragraphs[1]
    assert "photographs" in paragraphs[1]
    assert "real insects" in paragraphs[2]
    assert "nothing" in paragraphs[2]


def test_readme_names_the_two_commands_and_the_cautions() -> None:
    text = README.read_text(encoding="utf-8")
    for word in (
        "make demo",
        "make test",
        "pip install",
        "shellfish",
        "dust-mite",
        "scald",
        "low-voltage",
        "authority decides",
    ):
        assert word in text, word


def test_house_names_every_module() -> None:
    def is_named(package: str, path: Path) -> bool:
        name = path.name if path.suffix else f"{path.name}/"
        return any(f"`{start}{name}`" in HOUSE for start in ("", f"{package}/"))

    parts = [
        (package, path)
        for package in ("vision", "calib", "cli")
        for path in sorted((ROOT / package).iterdir())
        if (path.suffix == ".py" and path.name != "__init__.py") or (path / "__init__.py").exists()
    ]
    assert [f"{package}/{path.name}" for package, path in parts if not is_named(package, path)] == []


def test_house_names_no_module_that_is_not_there() -> None:
    for name in re.findall(r"`(?:(?:vision|calib|cli)/)?([a-z_]+\.py)`", HOUSE):
        assert any((ROOT / package / name).exists() for package in ("vision", "calib", "cli")) or name == "types.py", (
            name
        )


def test_house_has_the_commands_and_options_of_the_code() -> None:
    commands = typer.main.get_command(app).commands  # type: ignore[attr-defined]
    stated = dict(re.findall(r"\| `speckwise (\w+)` \|([^|]*)\|", HOUSE))
    assert set(stated) == set(commands)
    for name, command in commands.items():
        options = {option for p in command.params for option in p.opts if option.startswith("--")}
        assert set(re.findall(r"`(--[a-z-]+)`", stated[name])) == options, name


def test_house_has_the_exit_codes_of_the_code() -> None:
    sentence = HOUSE[HOUSE.index("Exit codes:") :].split("\n\n")[0]
    for code in (ALL_DONE, SOME_SHOTS_FAILED, CALL_IS_WRONG, STOPPED_HALF_WAY, STOPPED_BY_USER):
        assert re.search(rf"\b{code} ", sentence), code


def test_no_document_uses_a_forbidden_word_for_a_result() -> None:
    words = re.compile(r"\b(insect-free|all clear|cleared|passed the check|safe to eat|bug-free)\b", re.IGNORECASE)
    for path in [README, ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]:
        assert not words.search(path.read_text(encoding="utf-8")), path.name
