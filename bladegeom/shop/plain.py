"""What a blade's owner is told: the decision, what to do, and what the readings cannot see."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bladegeom.fit.wobble import WobbleFit
from bladegeom.result import between, number
from bladegeom.shop.batch import REFUSED
from bladegeom.shop.change import IMPROVED, NOT_SHOWN, WORSE, Change
from bladegeom.shop.condition import (
    AGAIN,
    FIT,
    LEVEL,
    REMOUNT,
    RETIRE,
    SAWSMITH,
    STRAIGHTEN,
    Condition,
)
from bladegeom.shop.verdict import FAILS, in_ranges, unread_of

NEVER, NOT_YET = "DO NOT USE", "DO NOT USE YET"
"""On the label of a blade that is not fit for use: over a limit or out of service, and else."""

_MOST_RUNS = 8
"""Of teeth that are named one by one."""

_DECISION = {
    FIT: "Runs true: within the limit",
    REMOUNT: "Over the limit: it runs tilted",
    STRAIGHTEN: "One tooth stands out too far",
    LEVEL: "The plate stands out too far",
    SAWSMITH: "Over the limit: the plate is bent",
    RETIRE: "Out of service: do not use it",
}
_NEXT = {FIT: "Fit for use as it is.", RETIRE: "Keep it off every saw."}
RULES = {
    "zones": "A blade passes where all that its true runout may be (95 %) is within the limit, "
    "does not where none of that is, and is not decided between.",
    "simple": "A blade passes where the value measured is within the limit; how sure that value is "
    "was left out.",
}
"""Decision rule -> what it is in one sentence."""

OF_CHANGE = {
    IMPROVED: "Better than before",
    WORSE: "Worse than before",
    NOT_SHOWN: "Not shown to be better than before",
}
"""Verdict of a `Change` -> the same for the owner."""


def decision(condition: Condition) -> str:
    """Return what was decided."""
    if condition.action != AGAIN:
        return _DECISION[condition.action]
    if not condition.sound:
        return "No decision: the readings mislead"
    if condition.outcome == FAILS:
        return "Over the limit: the cause is not found"
    if unread_of(condition.verdicts):
        return "No decision yet: not enough teeth were read"
    return "No decision yet: the readings cannot tell"


def next_step(condition: Condition) -> str:
    """Return what to do next."""
    bend = condition.bend
    if condition.action == STRAIGHTEN and bend is not None:
        return f"Next: straighten or replace tooth {bend.first}."
    if condition.action == LEVEL and bend is not None:
        one = bend.first == bend.last
        at = f"tooth {bend.first}" if one else f"teeth {bend.first} to {bend.last}"
        return f"Next: level the plate at {at}."
    return _NEXT.get(condition.action, f"Next: {condition.action}.")


def not_for_use(action: str, outcome: str) -> str:
    """Return what a label says of a blade that is not to be used as it stands; else nothing."""
    if action == FIT:
        return ""
    return NEVER if action == RETIRE or outcome == FAILS else NOT_YET


def changed_words(change: Change) -> str:
    """Return how the wobble has changed, in a sentence."""
    low, high, unit = change.tir.low, change.tir.high, change.unit
    said = f"The wobble was {change.said(change.before_tir)} and is {change.said(change.after_tir)}"
    less, more = (number(abs(one), (high - low) / 4) for one in (low, high))
    if low > 0:
        said += f": {less} to {more} {unit} more (95 %)"
    elif high < 0:
        said += f": {more} to {less} {unit} less (95 %)"
    elif low <= 0 <= high:
        said += f": between {less} {unit} less and {more} {unit} more (95 %)"
    if change.seating_sd_mm is None:
        said += ". How differently the blade seats when it is mounted anew is not in that"
    return f"{said}."


def unseen(fit: WobbleFit) -> str:
    """Return what the readings cannot see."""
    readings, teeth = fit.readings, fit.readings.blade.teeth
    missing = sorted({*range(1, teeth + 1)} - {*readings.tooth[~readings.closing].tolist()})
    said = [
        "Cracks, missing tips, heat marks, a wrong bore or speed rating",
        "a dish, which reads the same all round",
        "whether blade or arbor wobbles, from one mounting",
    ]
    if missing:
        which = in_ranges(missing)
        short = which.count(",") < _MOST_RUNS
        said.append(
            f"the teeth that were not read: {which}"
            if short
            else f"{len(missing)} of {teeth} teeth, which were not read"
        )
    return f"{'; '.join(said)}."


def label_words(row: Mapping[str, Any]) -> dict[str, str]:
    """Return what the label of a blade says, line by line, from its row of a queue."""
    marks = row.get("neutral_teeth")
    never = not_for_use(row["action"], row["outcome"])
    if never:
        head, note = never, row_action(row)
    elif marks:
        head = f"Teeth {marks[0]} \u2013 {marks[1]}"
        note = "fit for use; neutral line on our arbor: read it again on yours before you mark"
    else:
        head, note = "FIT FOR USE", "no teeth to mark"
    return {
        "name": row["blade"] or row.get("file") or "Blade",
        "whose": row.get("customer") or "",
        "head": head,
        "note": note,
        "foot": ", ".join(filter(None, (row_wobble(row), row["date"]))),
    }


def row_action(row: Mapping[str, Any]) -> str:
    """Return what is to be done with a blade, and where, from its row of a queue."""
    first, last = row.get("level_first"), row.get("level_last")
    if row["action"] == REFUSED:
        return "not judged: read again"
    if first is None:
        return str(row["action"])
    return f"{row['action']}, {f'tooth {first}' if first == last else f'teeth {first} to {last}'}"


def row_wobble(row: Mapping[str, Any]) -> str:
    """Return the wobble of a blade from its row of a queue; empty where numbers do not decide."""
    if row.get("conformance_probability") is None:
        return ""
    if not row["resolved"]:
        most = 2 * row["amplitude_high"]
        return f"wobble under {number(most, most)} {row['unit']}"
    return f"wobble {number(row['wobble_tir'], 2 * row['amplitude_u'])} {row['unit']}"


def row_over(row: Mapping[str, Any]) -> str:
    """Return from a row of a queue which limits are not kept, and what was found against them."""
    said = []
    for name, what in (("wobble_tir", "wobble"), ("raw_tir", "highest less lowest reading")):
        if row.get(f"{name}_outcome") == FAILS:
            low, high = row[f"{name}_low"], row[f"{name}_high"]
            found = between(low, high, (high - low) / 2)
            limit = f"{row[f'{name}_limit']:.4g} {row['unit']}"
            said.append(f"{what} {found} {row['unit']}, limit {limit}")
    return "; ".join(said)
