"""Printing the guides."""

from __future__ import annotations

from cli.exits import ALL_DONE


def print_guides(name: str | None) -> int:
    """Prints one guide, or the list of all; raises GuideError with the known names for one that is not among them."""
    from vision.guides import guide_names, load_guide

    if name is not None:
        print("\n".join(load_guide(name).text))
        return ALL_DONE
    names = guide_names()
    width = max(map(len, names), default=0)
    for known in names:
        print(f"{known:{width}}  {load_guide(known).title}")
    print("speckwise guides NAME prints one; speckwise score --produce NAME uses it.")
    return ALL_DONE
