"""The sentences round a house rule. The authority's words stand in them in quotation marks, as they are; all others are ours."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from types import MappingProxyType
from typing import TYPE_CHECKING

from cli.lots.per import Per
from cli.lots.rule_steps import Step, asked
from cli.lots.rule_text import listed, named, quoted
from cli.words import count
from vision.words import WHO_DECIDES

if TYPE_CHECKING:
    from datetime import date

    from cli.lots.rule import HouseRule, Signature
    from cli.lots.rule_chain import Asked, Check, Part

NONE_COUNTED = "0 counted. That is not a finding of none."
NO_RULE = "no house rule has been entered"
BODIES: Mapping[str, str] = MappingProxyType(
    {
        "whole": "a whole animal",
        "part_with_head": "a part with its head",
        "part": "a part without a head",
        "skin": "a skin",
        "egg": "an egg",
        "pupa": "a pupa",
        "mummy": "a mummy",
        "trail": "a trail",
        "colony": "a colony",
    }
)
BASES: Mapping[str, str] = MappingProxyType(
    {"in_hand": "in the hand", "loupe": "with a loupe", "picture": "on the picture"}
)
THENS: Mapping[str, str] = MappingProxyType(
    {
        "wash_and_check_again": "wash and check again",
        "discard_piece": "discard the piece",
        "stop": "stop",
        "hold": "hold for the authority",
        "go_on": "go on",
    }
)
_LOOKS = {"first": "first look", "after_wash": "after a wash", "again": "again without a wash"}


def whose(rule: HouseRule | None) -> str:
    """Whose words these are, and who decides."""
    if rule is None:
        return WHO_DECIDES
    return f"This is {rule.title}: Speckwise counts, reads it word for word and decides nothing; the authority decides."


def unreadable(why: str) -> str:
    """The sentences where a rule was given that is none; `why` is one of them."""
    return f"Counts only: the rule that was given can't be read. {why}"


def not_signed(rule: HouseRule) -> str:
    """Why counts only."""
    return f"{rule.title} has not been signed"


def changed(rule: HouseRule, signature: Signature) -> str:
    """Why counts only."""
    return (
        f"{rule.title} was changed after it was signed: what {named(signature.by)} signed on {signature.on} was version "
        f"{signature.digest[: len(rule.version)]}"
    )


def not_yet(rule: HouseRule, signature: Signature, first: date) -> str:
    """Why counts only."""
    since = (
        f"is in force from {rule.from_date} on" if signature.on <= rule.from_date else f"was signed on {signature.on}"
    )
    return f"{rule.title} {since}, and the first check was made on {first}"


def expired(rule: HouseRule, on_date: date) -> str:
    """Why counts only."""
    return f"{rule.title} was in force until {rule.until_date}, and this is asked for {on_date}"


def other_produce(rule: HouseRule, produce: str) -> str:
    """Why counts only."""
    given = named(produce) if produce.strip() else "a lot whose produce is not named"
    return f"{rule.title} is for {listed([named(each) for each in rule.produce])}, not for {given}"


def check_sentence(check: Check, beyond: bool = False) -> str:
    """A check as it stands in every outcome; `beyond`: it came after the one by which the outcome goes."""
    looked = "all together" if check.per == Per.LOT else count(len(check.parts), str(check.per))
    weight = "" if check.mass_g is None else f", {check.mass_g:g} g"
    said = [NONE_COUNTED if check.most == 0 else f"{_span(check.least, check.most)} counted."]
    if check.not_judged:
        said.append(f"Up to {check.not_judged} more can't be judged by the rule.")
    if check.open_flags:
        said.append(f"{count(check.open_flags, 'flag')} still open.")
    if beyond:
        said.append("It came after the check by which the outcome goes: it stays in the chain and does not change it.")
    return f"Check {check.number}, {check.on}, {_LOOKS[check.look]}, {looked}{weight}: {' '.join(said)}"


def next_steps(rule: HouseRule, steps: tuple[Asked, ...]) -> str:
    """The outcome where the rule asks for one thing, of all or of each part."""
    if len(steps) == 1:
        return f"By {rule.title}, the next step is: {quoted(steps[0].step.action)}."
    return f"By {rule.title}, the next steps are: {_of_parts(steps)}."


def stopped(rule: HouseRule, check: Check, steps: tuple[Asked, ...]) -> str:
    """The outcome where the rule asks for one more check than it allows."""
    return (
        f"By {rule.title}, the lot is stopped at the limit: it allows {count(rule.most_rechecks, 're-check')}, and after check "
        f"{check.number} it still says: {_of_parts(steps)}. For this it says: {quoted(rule.when_to_stop)}."
    )


def not_read(rule: HouseRule, why: str) -> str:
    """The outcome where no step can be taken from the rule."""
    return f"{rule.title[0].upper()}{rule.title[1:]} can't be read on this: {why}. No step is taken from it."


def open_flags(check: Check) -> str:
    """Why it can't be read."""
    verb = "is" if check.open_flags == 1 else "are"
    return f"in check {check.number}, {count(check.open_flags, 'flag')} {verb} still open"


def no_mass(check: Check) -> str:
    """Why it can't be read."""
    return f"it counts per 100 g, and check {check.number} was not weighed"


def other_unit(rule: HouseRule, check: Check) -> str:
    """Why it can't be read."""
    by = "as a whole" if check.per == Per.LOT else f"by {check.per}"
    return f"it counts per {rule.per}, and check {check.number} was counted {by}"


def straddles(check: Check, counts: Part, one: Fraction, steps: Sequence[Step]) -> str:
    """Why it can't be read: a range reaches over steps that differ. `one`: what counts are divided by to get the rule's numbers."""
    where = f"check {check.number}" + ("" if counts == check.together else f", {named(counts.name)}")
    said = f"{_span(counts.least, counts.most)} counted in {where}"
    if counts.not_judged:
        said += f" and up to {counts.not_judged} more that can't be judged by it"
    if one != 1:
        low, high = _number(counts.least / one), _number((counts.most + counts.not_judged) / one)
        said += f", {low} to {high} per 100 g"
    return f"{said}, and its steps differ between these: {'; '.join(map(asked, steps))}"


def unwashed(check: Check, steps: tuple[Asked, ...]) -> str:
    """Why it can't be read: a check was made again without the wash that the step asks for."""
    return (
        f"after check {check.number} it says: {_of_parts(steps)}, and check {check.number + 1} was made without a wash"
    )


def beyond_differs(check: Check, steps: tuple[Asked, ...], later: Check, others: tuple[Asked, ...]) -> str:
    """Why it can't be read: a check that the rule does not ask for would lead to another step."""
    return (
        f"after check {check.number} it says: {_of_parts(steps)}, and after check {later.number}, which it does not ask for: "
        f"{_of_parts(others)}"
    )


def _of_parts(steps: tuple[Asked, ...]) -> str:
    return "; ".join(
        quoted(each.step.action) + (f" for {listed([named(part) for part in each.parts])}" if each.parts else "")
        for each in steps
    )


def _span(least: int, most: int) -> str:
    return f"{least}" if least == most else f"{least} to {most}"


def _number(number: Fraction) -> str:
    return f"{number.numerator}" if number.denominator == 1 else f"{float(number):.6g}"
