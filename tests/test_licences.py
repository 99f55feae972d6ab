"""What may be shipped beside this program: every dependency that a user installs, and its licence."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pi_heif
import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

# SPDX identifiers and what stands in older metadata; all go with Apache-2.0 as long as the library stays a part of its own.
ALLOWED = re.compile(
    r"MIT(-CMU)?|MIT License|BSD(-[23]-Clause|-3| License)?|0BSD|ISC( License.*)?|Zlib|zlib/libpng License|CC0-1\.0|PSF-2\.0|"
    r"Python Software Foundation License|Apache(-2\.0| 2\.0| License 2\.0| Software License)|MPL-2\.0|Unlicense|"
    r"L?GPL-[23]\.[01](-only|-or-later)? WITH GCC-exception-3\.1|LGPL-[23]\.[01](-only|-or-later)?|"
    r"GNU (Library or )?Lesser General Public License.*"
)
# The same library built with windows; people who have it keep it.
STANDS_IN = {"opencv-python-headless": "opencv-python"}


def installed(name: str) -> metadata.Distribution:
    try:
        return metadata.distribution(name)
    except metadata.PackageNotFoundError:
        return metadata.distribution(STANDS_IN[name])


def dependencies() -> list[str]:
    """Names of everything the project pulls in, with its optional parts, to the last link."""
    project = tomllib.loads((Path(__file__).parents[1] / "pyproject.toml").read_text("utf-8"))["project"]
    asked = [Requirement(line) for line in project["dependencies"]]
    asked += [Requirement(line) for lines in project.get("optional-dependencies", {}).values() for line in lines]
    found: set[str] = set()
    while asked:
        wanted = asked.pop()
        name = canonicalize_name(wanted.name)
        if name in found or (wanted.marker and not wanted.marker.evaluate({"extra": ""})):
            continue
        found.add(name)
        asked += [Requirement(line) for line in installed(name).requires or ()]
    return sorted(found)


def licences(distribution: metadata.Distribution) -> list[str]:
    """Its licence, or licences that all hold: the SPDX expression, else the classifiers, else the free text's first line."""
    about = distribution.metadata
    if expression := about.get("License-Expression"):
        return re.split(r"\s+AND\s+", expression.replace("(", "").replace(")", ""))
    named = [line.split(" :: ")[-1] for line in about.get_all("Classifier", []) if line.startswith("License :: ")]
    return named or [(about.get("License") or "unknown").strip().splitlines()[0]]


def may_be_shipped(licence: str) -> bool:
    return any(ALLOWED.fullmatch(re.sub(r" \(.*\)$", "", choice)) for choice in re.split(r"\s+OR\s+", licence))


@pytest.mark.parametrize("name", dependencies())
def test_every_dependency_may_be_shipped(name: str) -> None:
    named = licences(installed(name))
    assert named
    assert [licence for licence in named if not may_be_shipped(licence)] == [], f"{name}: {named}"


def test_the_walk_reaches_what_is_far_down() -> None:
    assert {"numpy", "pillow", "pi-heif", "markupsafe", "mdurl", "joblib"} <= set(dependencies())


@pytest.mark.parametrize(
    "licence",
    [
        "GPL-3.0-or-later",
        "AGPL-3.0-only",
        "GNU General Public License v3 (GPLv3)",
        "GNU Affero General Public License v3",
        "unknown",
        "Other/Proprietary License",
        "GPL",
        "SSPL-1.0",
        "",
    ],
)
def test_other_licences_are_seen(licence: str) -> None:
    assert not may_be_shipped(licence)


def test_heic_reader_brings_no_gpl_encoder() -> None:
    """x265 is under the GPL; it comes with pillow-heif, which the tests use, and not with pi-heif, which is shipped."""
    about = pi_heif.libheif_info()
    assert about["HEIF"] == ""
    assert set(about["encoders"]) <= {"mask"}
    assert "x265" not in str(about)
    shipped = [file.name for file in metadata.files("pi-heif") or ()]
    assert any("heif" in name for name in shipped)
    assert not [name for name in shipped if "x265" in name or "x264" in name or "kvazaar" in name]


def test_the_gpl_encoder_is_not_among_the_dependencies() -> None:
    assert "pillow-heif" not in dependencies()
