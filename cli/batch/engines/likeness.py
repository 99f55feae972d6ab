"""Whether two processes give the same results: what they have installed, and what processor they run on."""

from __future__ import annotations

import platform
import re
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cli.batch.record import package_versions
from vision import __version__

_X86 = {"x86_64", "amd64", "i386", "i686", "x86"}
_CPU_FACTS = Path("/proc/cpuinfo")
_NAMED = 5


@dataclass(frozen=True)
class Likeness:
    """What the results of a process depend on, beside photographs and options."""

    versions: Mapping[str, str]
    """Ours, Python's (the two numbers that count) and those of the packages; '' where one is not installed."""
    processor: str
    """Its family, in words."""

    def other_than(self, other: Likeness) -> str:
        """What of it has another version than in `other`, and which; '' where nothing has."""
        return ", ".join(self.shown(package) for package in self.versions if self.differs_in(package, other))

    def differs_in(self, package: str, other: Likeness) -> bool:
        """Whether the two have other versions of it."""
        return self.versions.get(package, "") != other.versions.get(package, "")

    def shown(self, package: str) -> str:
        """The package with its version."""
        return f"{package} {self.versions.get(package) or 'missing'}"


@cache
def likeness_here() -> Likeness:
    """That of this process."""
    python = ".".join(platform.python_version_tuple()[:2])
    versions = {"Speckwise": __version__, "Python": python, **package_versions()}
    facts = ""
    with suppress(OSError):
        facts = _CPU_FACTS.read_text(encoding="utf-8", errors="replace")
    return Likeness(versions, family(platform.machine(), facts))


def family(machine: str, facts: str) -> str:
    """The family of a processor, from its kind and from what the system says of it (as in Linux's /proc/cpuinfo).

    On x86 numpy, scipy and OpenCV have other code for processors with AVX2 and with AVX-512, which rounds otherwise.
    """
    if machine.lower() not in _X86:
        return machine
    listed = re.search(r"^flags\s*:(.*)$", facts, re.MULTILINE)
    if listed is None:
        return machine
    flags = set(listed[1].split())
    found = [name for flag, name in (("avx2", "AVX2"), ("avx512f", "AVX-512")) if flag in flags]
    return f"{machine} with {' and '.join(found)}" if found else f"{machine} without AVX2"


def mixed_versions(ours: Likeness, theirs: Mapping[str, Likeness]) -> str:
    """The sentence that refuses processes with other versions than ours, and says who has what; '' where there are none."""
    others = {name: other for name, each in theirs.items() if (other := each.other_than(ours))}
    if not others:
        return ""
    differing = {package for name in others for package in ours.versions if theirs[name].differs_in(package, ours)}
    here = ", ".join(ours.shown(package) for package in ours.versions if package in differing)
    who = _who_has({"this machine": here, **others})
    return f"Results would depend on where a photograph is scored ({who}). Install the same versions everywhere."


def mixed_families(ours: Likeness, theirs: Mapping[str, Likeness]) -> str:
    """The sentence that says that processors differ, and how; '' where all are of one family."""
    families = {"this machine": ours.processor} | {name: each.processor for name, each in theirs.items()}
    if len(set(families.values())) == 1:
        return ""
    return (
        "The processors are not all of one family, so a number in the tables may differ by one unit of its last digit "
        f"from what another would give ({_who_has(families)})."
    )


def _who_has(named: Mapping[str, str]) -> str:
    by_what: dict[str, list[str]] = {}
    for name, what in named.items():
        by_what.setdefault(what, []).append(name)
    return "; ".join(f"{what}: {among(names)}" for what, names in by_what.items())


def among(names: list[str]) -> str:
    """The first few of them, and how many more there are."""
    more = len(names) - _NAMED
    return ", ".join(names[:_NAMED]) + (f" and {more} more" if more > 0 else "")
