"""The entry point: what is asked for help imports nothing heavy; what goes wrong is a sentence and a code."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from importlib import metadata
from pathlib import Path
from typing import Any

import pytest

from cli.app import app
from cli.entry import guarded, run, two_opencvs, what_import_lacks, what_is_in_the_way
from cli.exits import StoppedByUser, StoppedHalfWay
from cli.options import GROUNDS, LIGHTS, ScoreOptions
from vision.errors import CallError, GuideError, OutputInUse, ProfileError, SpeckwiseError
from vision.types import Ground, LitFrom

ROOT = Path(__file__).parent.parent
HEAVY = ("numpy", "cv2", "pandas", "skimage", "scipy")
ONE_OPTION = """
import typer

app = typer.Typer(rich_markup_mode=None, add_completion=False)
app.command("guides")(lambda: None)

@app.command()
def score(out: str = ""): ...

app()
"""
COMMANDS = sorted(
    str(command.name or command.callback.__name__) for command in app.registered_commands if command.callback
)


def call(*words: str, paths: tuple[Path, ...] = (ROOT,), code: str = "from cli.entry import main; main()") -> Any:
    environment = os.environ | {"PYTHONPATH": os.pathsep.join(map(str, paths))}
    return subprocess.run(
        [sys.executable, "-c", code, *words], env=environment, cwd="/", capture_output=True, text=True
    )


class TestHelp:
    def test_every_command_of_this_step_is_there(self) -> None:
        assert COMMANDS == ["calibrate", "demo", "guides", "report", "review", "score", "slip", "watch"]

    @pytest.mark.parametrize("command", ["", *COMMANDS])
    def test_imports_nothing_heavy(self, command: str) -> None:
        code = (
            "import sys\nfrom cli.entry import run\n"
            "code = run(sys.argv[1:])\n"
            f"print('heavy:', [name for name in {HEAVY} if name in sys.modules])\nsys.exit(code)"
        )
        done = call(*filter(None, [command, "--help"]), code=code)
        assert done.returncode == 0, done.stderr
        assert "Usage: speckwise" in done.stdout
        assert done.stdout.endswith("heavy: []\n")

    def test_takes_hardly_more_than_a_command_with_one_option(self) -> None:
        # Both in turns on this machine as it is now: what the library costs that reads the command line is its own.
        turns = [
            (processor_seconds("score", "--help"), processor_seconds("score", "--help", code=ONE_OPTION))
            for _ in range(4)
        ]
        ours, smallest = (min(seconds) for seconds in zip(*turns, strict=True))
        assert ours < 1.5 * smallest


def processor_seconds(*words: str, code: str = "from cli.entry import main; main()") -> float:
    before = os.times()
    done = call(*words, code=code)
    after = os.times()
    assert "Usage" in done.stdout, done.stderr
    return after.children_user + after.children_system - before.children_user - before.children_system


class TestWrongCalls:
    @pytest.mark.parametrize(
        ("words", "said"),
        [
            (["score"], "PATH"),
            (["score", "x.jpg"], "--out"),
            (["score", "--bogus"], "--bogus"),
            (["bogus"], "bogus"),
            (["score", "/nowhere.jpg", "--out", "OUT"], "/nowhere.jpg can't be found"),
            (["score", "IN", "--out", "OUT"], "No picture was found"),
            (["score", "IN", "--out", "OUT", "--px-per-mm", "0"], "--px-per-mm"),
            (["score", "IN", "--out", "OUT", "--px-per-mm", "nan"], "--px-per-mm"),
            (["score", "IN", "--out", "OUT", "--px-per-mm", "inf"], "--px-per-mm"),
            (["score", "IN", "--out", "OUT", "--px-per-mm", "many"], "--px-per-mm"),
            (["score", "IN", "--out", "OUT", "--min-score", "1.5"], "--min-score"),
            (["score", "IN", "--out", "OUT", "--min-score", "nan"], "--min-score"),
            (["score", "IN", "--out", "OUT", "--max-flags", "0"], "--max-flags"),
            (["score", "IN", "--out", "OUT", "--ground", "table"], "panel, water or cloth"),
            (["score", "IN", "--out", "OUT", "--lit", "aside"], "below, above or both"),
            (["score", "IN", "--out", "OUT", "--panel", "/nowhere.toml"], "/nowhere.toml"),
            (["score", "IN", "--out", "OUT", "--ranker", "/nowhere.json"], "/nowhere.json"),
            (["guides", "leek"], "broccoli"),
            (["calibrate", "/nowhere.jpg", "--out", "OUT.toml"], "/nowhere.jpg"),
        ],
    )
    def test_are_told_of_and_write_nothing(
        self, words: list[str], said: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        (tmp_path / "in").mkdir()
        (tmp_path / "in" / "notes.txt").write_bytes(b"no picture")
        put = {"IN": str(tmp_path / "in"), "OUT": str(tmp_path / "out"), "OUT.toml": str(tmp_path / "out.toml")}
        assert run([put.get(word, word) for word in words]) == 2
        errors = capsys.readouterr().err
        assert said in errors
        assert "Traceback" not in errors
        assert sorted(path.name for path in tmp_path.iterdir()) == ["in"]

    def test_choices_are_those_of_the_core(self) -> None:
        assert set(GROUNDS) == set(Ground)
        assert set(LIGHTS) == set(LitFrom)

    def test_options_that_can_be_meant_are_taken(self) -> None:
        assert ScoreOptions(px_per_mm=0.5, min_score=0, max_flags=1, ground="water", lit="both").max_flags == 1


def raising(error: BaseException) -> Any:
    def command() -> None:
        raise error

    return command


class TestCodes:
    @pytest.mark.parametrize(
        ("error", "code", "said"),
        [
            (CallError("Wrong call."), 2, "Wrong call."),
            (OutputInUse("In use."), 2, "In use."),
            (ProfileError("Not a profile."), 2, "Not a profile."),
            (GuideError("No such guide."), 2, "No such guide."),
            (SpeckwiseError("The disk is full: x."), 3, "The disk is full: x."),
            (StoppedHalfWay("Half-way."), 3, "Half-way."),
            (OSError(errno.ENOSPC, "No space left on device"), 3, "The disk is full."),
            (PermissionError(errno.EACCES, "Permission denied", "/x"), 3, "/x"),
            (MemoryError(), 3, "not enough memory"),
            (ZeroDivisionError("division by zero"), 3, "fault of its own (ZeroDivisionError: division by zero)"),
            (StoppedByUser("Stopped."), 130, "Stopped."),
            (KeyboardInterrupt(), 130, "Stopped."),
        ],
    )
    def test_one_for_each_way_to_end(
        self, error: BaseException, code: int, said: str, capsys: pytest.CaptureFixture[str]
    ) -> None:
        assert guarded(raising(error)) == code
        errors = capsys.readouterr().err
        assert said in errors
        assert "Traceback" not in errors

    def test_a_command_gives_its_own(self) -> None:
        assert guarded(lambda: 1) == 1
        assert guarded(lambda: None) == 0

    def test_the_place_of_a_fault_is_shown_on_request(
        self, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
    ) -> None:
        monkeypatch.setenv("SPECKWISE_TRACEBACK", "1")
        assert guarded(raising(ZeroDivisionError("oh"))) == 3
        assert "raise error" in capsys.readouterr().err

    def test_an_exception_in_a_real_call_is_not_pythons_own_1(self) -> None:
        code = (
            "import cli.scoring\n"
            "def fault(*_, **__): raise ValueError('oh')\n"
            "cli.scoring.score_call = fault\n"
            "from cli.entry import main\nmain()"
        )
        done = call("score", "x", "--out", "y", code=code)
        assert done.returncode == 3
        assert done.stderr.startswith("speckwise: Speckwise failed through a fault of its own (ValueError: oh)")
        assert "Traceback" not in done.stderr

    def test_ctrl_c_before_the_work_begins(self) -> None:
        code = (
            "import cli.scoring\n"
            "def stop(*_, **__): raise KeyboardInterrupt\n"
            "cli.scoring.score_call = stop\n"
            "from cli.entry import main\nmain()"
        )
        assert call("score", "x", "--out", "y", code=code).returncode == 130

    def test_names_that_the_terminal_cannot_show_do_not_end_the_work(self) -> None:
        code = "import os; os.environ['PYTHONIOENCODING'] = 'ascii'\nfrom cli.entry import main\nmain()"
        environment = os.environ | {"PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii"}
        done = subprocess.run(
            [sys.executable, "-c", code, "score", "/תמונה", "--out", "/x"],
            env=environment,
            cwd="/",
            capture_output=True,
        )
        assert done.returncode == 2
        assert b"can't be found" in done.stderr


class TestWhatIsInstalled:
    def test_all_is_ours(self) -> None:
        assert what_is_in_the_way() == ""

    @pytest.mark.parametrize("package", ["vision", "calib"])
    def test_another_package_in_the_way_is_named(self, tmp_path: Path, package: str) -> None:
        (tmp_path / package).mkdir()
        (tmp_path / package / "__init__.py").write_text("")
        (tmp_path / "other-1.0.dist-info").mkdir()
        (tmp_path / "other-1.0.dist-info" / "METADATA").write_text("Metadata-Version: 2.1\nName: other\nVersion: 1.0\n")
        (tmp_path / "other-1.0.dist-info" / "top_level.txt").write_text(f"{package}\n")
        done = call("guides", paths=(tmp_path, ROOT))
        assert done.returncode == 3
        assert f"Another package called '{package}' is in the way: it comes from the distribution other" in done.stderr
        assert "environment of its own" in done.stderr
        assert "Traceback" not in done.stderr

    def test_a_package_that_is_missing_is_named(self, tmp_path: Path) -> None:
        (tmp_path / "numpy.py").write_text("raise ModuleNotFoundError(\"No module named 'numpy'\", name='numpy')")
        done = call("guides", paths=(tmp_path, ROOT))
        assert done.returncode == 3
        assert "The package 'numpy' is missing." in done.stderr

    def test_a_missing_libgl_is_told_of(self) -> None:
        error = ImportError("libGL.so.1: cannot open shared object file: No such file or directory", name="cv2")
        assert "no libGL" in what_import_lacks(error)
        assert "opencv-python-headless" in what_import_lacks(error)

    def test_two_builds_of_opencv_are_told_of(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def version(name: str) -> str:
            if name in {"opencv-python", "opencv-python-headless"}:
                return "5.0"
            raise metadata.PackageNotFoundError(name)

        monkeypatch.setattr("importlib.metadata.version", version)
        assert two_opencvs().startswith("opencv-python and opencv-python-headless are installed together")
        assert "installed together" in what_import_lacks(ImportError("no attribute", name="cv2"))

    def test_one_build_is_as_it_should_be(self, monkeypatch: pytest.MonkeyPatch) -> None:
        def version(name: str) -> str:
            if name == "opencv-python-headless":
                return "5.0"
            raise metadata.PackageNotFoundError(name)

        monkeypatch.setattr("importlib.metadata.version", version)
        assert two_opencvs() == ""
