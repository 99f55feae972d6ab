"""What ships: the wheel's list, and the wheel at work in a path with a space."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
import venv
import zipfile
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow

ROOT = Path(__file__).parent.parent
PACKAGES = ("vision", "calib", "cli", "sample_images")
SHIPPED_ENDINGS = {".py", ".toml", ".ttf", ".txt", ".j2", ".css", ".json", ".jpg", ".png", ".csv", ".js", ".svg"}
LARGEST_WHEEL_BYTES = 20_000_000


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    pytest.importorskip("hatchling", reason="building a wheel without a network needs the package hatchling")
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return next(folder.glob("speckwise-*.whl"))


class TestTheWheel:
    def test_holds_what_it_should_and_nothing_else(self, wheel: Path) -> None:
        with zipfile.ZipFile(wheel) as file:
            names = [name for name in file.namelist() if not name.endswith("/")]
        inside = [name for name in names if ".dist-info/" not in name]
        assert {name.split("/")[0] for name in inside} == set(PACKAGES)
        assert {Path(name).suffix for name in inside} <= SHIPPED_ENDINGS
        on_disk = {
            path.relative_to(ROOT).as_posix()
            for package in PACKAGES
            for path in (ROOT / package).rglob("*")
            if path.is_file() and "__pycache__" not in path.parts
        }
        assert set(inside) == on_disk
        assert wheel.stat().st_size < LARGEST_WHEEL_BYTES

    def test_carries_the_review_desk_s_pages_scripts_and_words(self, wheel: Path) -> None:
        with zipfile.ZipFile(wheel) as file:
            inside = {
                name: file.read(name) for name in file.namelist() if name.startswith("cli/review/") and name[-1] != "/"
            }
        for name in ("static/main.js", "static/desk.css", "static/mark.svg", "templates/desk.html.j2", "words/en.toml"):
            assert inside[f"cli/review/{name}"] == (ROOT / "cli/review" / name).read_bytes()
        for folder in ("static", "templates", "words"):
            on_disk = {path.relative_to(ROOT).as_posix() for path in (ROOT / "cli/review" / folder).iterdir()}
            assert on_disk <= set(inside)

    def test_carries_its_licences_and_its_command(self, wheel: Path) -> None:
        with zipfile.ZipFile(wheel) as file:
            about = [name for name in file.namelist() if ".dist-info/" in name]
            points = next(name for name in about if name.endswith("entry_points.txt"))
            assert "speckwise = cli.entry:main" in file.read(points).decode()
        assert any(name.endswith("licenses/LICENSE") for name in about)
        assert any(name.endswith("LICENSE-DejaVu.txt") for name in about)

    def test_works_from_a_path_with_a_space(self, wheel: Path, tmp_path: Path) -> None:
        place = tmp_path / "a path with a space"
        venv.create(place, with_pip=False, symlinks=True)
        python = place / "bin" / "python"
        # What is installed here serves there, all but this project itself.
        site = Path(
            subprocess.check_output(
                [python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"], text=True
            ).strip()
        )
        (site / "others.pth").write_text(sysconfig.get_path("purelib") + "\n")
        environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTHON")}
        install = [
            "-m",
            "pip",
            "--python",
            str(python),
            "install",
            "--no-deps",
            "--no-index",
            "--force-reinstall",
            "-q",
            str(wheel),
        ]
        done = subprocess.run([sys.executable, *install], env=environment, capture_output=True, text=True)
        assert done.returncode == 0, done.stderr
        # Two photographs tell as much of the installation as all of them.
        for photograph in sorted((site / "sample_images").glob("*.jpg"), key=lambda path: path.stat().st_size)[2:]:
            photograph.unlink()
        done = subprocess.run(
            [str(place / "bin" / "speckwise"), "demo"], cwd=place, env=environment, capture_output=True, text=True
        )
        assert done.returncode == 0, done.stderr
        out = place / "speckwise-demo"
        assert {"candidates.csv", "shots.csv", "run.json", "index.html", "pictures"} <= {
            path.name for path in out.iterdir()
        }
        assert len(list((out / "pictures").glob("*-unmarked.jpg"))) == 2
        for said in ("index.html", "candidates.csv", "shots.csv", "pictures"):
            assert said in done.stdout
