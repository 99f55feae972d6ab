"""The run: its id, and the facts about it that run.json holds."""

from __future__ import annotations

import hashlib
import json
import os
import platform
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib import metadata
from typing import Any

from cli.batch.standing import APP
from vision import __version__

OPENCV_DISTRIBUTIONS = (
    "opencv-python",
    "opencv-python-headless",
    "opencv-contrib-python",
    "opencv-contrib-python-headless",
)
_COUNTED = {
    "numpy": ("numpy",),
    "scipy": ("scipy",),
    "opencv": OPENCV_DISTRIBUTIONS,
    "scikit-image": ("scikit-image",),
    "Pillow": ("pillow",),
}


@dataclass(frozen=True)
class RunFacts:
    """All that a result depends on beside the photographs. Digests are SHA-256; None where nothing was given."""

    options: Mapping[str, str | int | float | None]
    profile_sha256: str | None = None
    guide_sha256: str | None = None
    ranker_sha256: str | None = None
    version: str = __version__
    packages: Mapping[str, str] = field(default_factory=lambda: package_versions())

    @property
    def run(self) -> str:
        """The run's id: the same wherever, whenever and however fast the same work is done."""
        counted = {
            "version": self.version,
            "packages": dict(self.packages),
            "options": dict(self.options),
            "profile": self.profile_sha256,
            "guide": self.guide_sha256,
            "ranker": self.ranker_sha256,
        }
        canonical = json.dumps(counted, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
        return "r" + hashlib.sha256(canonical.encode()).hexdigest()[:12]

    def as_record(self) -> dict[str, Any]:
        """The part of run.json that is the same for every call into the same folder."""
        return {
            "app": APP,
            "run": self.run,
            "version": self.version,
            "packages": dict(self.packages),
            "options": dict(self.options),
            "profile_sha256": self.profile_sha256,
            "guide_sha256": self.guide_sha256,
            "ranker_sha256": self.ranker_sha256,
        }


def package_versions() -> dict[str, str]:
    """Versions of the packages that a result depends on, without importing them."""
    return {name: "+".join(installed_versions(names).values()) for name, names in _COUNTED.items()}


def installed_versions(distributions: tuple[str, ...]) -> dict[str, str]:
    """Those of `distributions` that are installed, with their versions, in that order."""
    found = {}
    for name in distributions:
        try:
            found[name] = metadata.version(name)
        except metadata.PackageNotFoundError:
            continue
    return found


def machine() -> dict[str, str | int | None]:
    """Where the work is done."""
    return {
        "system": platform.platform(),
        "python": platform.python_version(),
        "processor": platform.machine(),
        "processors": os.cpu_count(),
    }


def now() -> str:
    """The time as RFC 3339 in UTC, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
