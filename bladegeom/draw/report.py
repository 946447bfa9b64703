"""The sheet that a blade goes back to its owner with."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import date as Date  # noqa: N812
from typing import NamedTuple

from matplotlib.axes import Axes

from bladegeom._version import __version__
from bladegeom.draw._axes import GREY
from bladegeom.draw._style import drawn
from bladegeom.draw.page import BOLD, LINE, MARGIN, Page
from bladegeom.draw.polar import BladeDrawing
from bladegeom.draw.printed import NOT_RELIED_ON, left_words, sizes, sure_words, tir_words
from bladegeom.fit.marks import NeutralLine, neutral_line, sentence
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.result import between, number
from bladegeom.shop.change import Change
from bladegeom.shop.condition import Condition
from bladegeom.shop.plain import (
    OF_CHANGE,
    RULES,
    changed_words,
    decision,
    next_step,
    unseen,
)
from bladegeom.shop.verdict import CONFORMS, FAILS, Verdict, evidence
from bladegeom.tables.out import digest_of

_CHART, _LEAST_CHART, _CAPTION = 104.0, 86.0, 11.0
"""Side of the drawing of the blade, at most and at least, and its caption, in millimetres."""

_SCALES = (1.0, 0.95, 0.9, 0.85, 0.8, 0.75, 0.7, 0.65, 0.6, 0.55, 0.5)
_SIZES = (11.0, 10.5, 10.0, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0)
_SMALL = (7.5, 7.0, 6.5, 6.0, 5.5, 5.0)
_GUTTER = 6.0

_Told = tuple[str, str]
"""A paragraph: its heading and its words."""


class _Line(NamedTuple):
    """Words of one style: points, whether bold, and the room above in points."""

    words: str
    size: float
    bold: bool = False
    above: float = 0.0


@drawn
@checked
def customer_sheet(
    fit: WobbleFit,
    condition: Condition | None = None,
    *,
    before: Change | None = None,
    not_compared: str = "",
    shop: str = "",
    arbor: str = "",
    apart: str = "",
    paper: str = "a4",
    date: Date | None = None,
) -> Axes:
    """Draw the one-page sheet of a blade: what was decided, what to do, and how sure it is.

    Above a line is what its owner needs, in plain words; below it all that it rests on.

    Parameters
    ----------
    fit : WobbleFit
    condition : Condition, optional
        What `assess` said of it; without it the sheet tells numbers and no verdict.
    before : Change, optional
        What `change` said of the blade before its service and now. Both are drawn, where the
        fits were compared and no mistake seems likely in either.
    not_compared : str
        In words, why readings from before the service are not compared.
    shop : str
        Who measured, in the shop's own words.
    arbor : str
        On what it was measured.
    apart : str
        What tells the blade from another of its name, printed behind it.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the page; today if not given.

    Returns
    -------
    matplotlib.axes.Axes
        The axes of the blade; ``ax.figure`` is the page.

    Raises
    ------
    RefusedError
        If the paper is not known.
    """
    page, marks = Page(paper), neutral_line(fit) if condition is None else condition.marks
    _head(page, fit, shop, date, apart)
    _made_from(page, fit, condition)
    _verdict(page, fit, condition)
    own = _own(fit, condition, marks, before, not_compared)
    _small_print(page, _told(fit, condition, before, arbor))
    side = min(_CHART, page.bottom - page.top - _CAPTION)
    _column(page, own, MARGIN + side + 4.0)
    ax = page.axes(MARGIN - 4.0, page.top, side, side)
    earlier, turned = _earlier(fit, before)
    drawing = BladeDrawing(fit, marks, ax, side, earlier, turned)
    drawing.draw()
    _under(page, page.top + side + 2.0, _caption(drawing, before), side)
    return ax


# Above the line


def _head(page: Page, fit: WobbleFit, shop: str, date: Date | None, apart: str) -> None:
    """Write which blade it is, whose, and who read it when."""
    blade, readings = fit.readings.blade, fit.readings
    name = f"{blade.name or 'Blade'} ({apart})" if apart else blade.name
    whose = {"for": blade.customer, "job": readings.job, "read by": readings.operator}
    said = [f"{word} {who}" for word, who in whose.items() if who]
    page.head(name, shop or "blade report", date, sizes(blade))
    if said:
        page.top -= 3.5
        _lines(page, [", ".join(said)], 22.0)
    page.warnings(fit.asked, 11.0, weight="bold")


def _verdict(page: Page, fit: WobbleFit, condition: Condition | None) -> None:
    """Write what was decided in the largest type, what to do next, and why."""
    if condition is None:
        head, step = _found(fit), ""
    else:
        head, step = decision(condition), next_step(condition)
    page.line(head, 26, 12.0, high=11.0, bold=True)
    if step:
        page.line(step, 16, 8.0, high=7.5, bold=True)
    mistake = None if fit.mistake is None else fit.mistake.words
    reasons = () if condition is None else condition.reasons
    said = [one for one in reasons if mistake is None or mistake not in one]
    said += map(sentence, fit.doubted)
    _lines(page, said, 75.0)


def _lines(page: Page, said: Sequence[str], most: float) -> None:
    """Write sentences, each on lines of its own, as large as so many points of height allow."""
    for size in _SIZES:
        lines = [line for one in said for line in page.wrapped(one, size, page.inner)]
        if len(lines) * size <= most:
            break
    page.top = 2.0 + page.lines(MARGIN, page.top, lines, size, size * LINE)


def _found(fit: WobbleFit) -> str:
    """Return what was found, where no limit judges it."""
    if fit.mistake is not None:
        return "No answer: the readings mislead"
    if fit.resolved:
        return "Wobble found. No limit judges it"
    told = "any rotation will do" if neutral_line(fit).any_rotation else "readings cannot tell"
    return f"No direction is established: {told}"


def _own(
    fit: WobbleFit,
    condition: Condition | None,
    marks: NeutralLine,
    before: Change | None,
    not_compared: str,
) -> list[_Line]:
    """Return what stands beside the drawing: the numbers, the teeth, what was done and came of it.

    Nothing there needs a word of the trade.
    """
    sound = condition is None or condition.sound
    wobble, raw = (condition.wobble_tir, condition.raw_tir) if condition else (None, None)
    low, high, _ = fit.amplitude_interval()
    swing = _between(2 * low, 2 * high, 2 * fit.amplitude_u, fit.unit)
    told = _number("wobble: how far it swings", tir_words(fit), swing, sound, wobble, fit.unit)
    if raw is None:
        value, doubt = f"{fit.raw_tir:.4g} {fit.unit}", "as read: bends and scatter are in it"
    else:
        middle, _, low, high, _ = raw.measured
        value = f"{number(middle, (high - low) / 2)} {fit.unit}"
        doubt = _between(low, high, (high - low) / 2, fit.unit)
    told += _number("whole plate: highest less lowest", value, doubt, sound, raw, fit.unit)
    if fit.tilt is not None and marks.worst_deg is not None:
        worst, reach = marks.worst_deg, (fit.tilt.high - fit.tilt.low) / 2
        value, doubt = f"under {number(worst, worst)}\u00b0", "no direction is established (95 %)"
        if fit.resolved:
            value = f"{number(worst, reach)}\u00b0"
            doubt = _between(fit.tilt.low, fit.tilt.high, reach, "\u00b0")
        told += _number("out of square at the worst tooth", value, doubt, sound)
    return told + _to_do(fit, marks, before, not_compared)


def _number(
    name: str,
    value: str,
    doubt: str,
    sound: bool,
    verdict: Verdict | None = None,
    unit: str = "",
) -> list[_Line]:
    said = [_Line(name, 9.5, above=5.0), _Line(value, 20, True)]
    said.append(_Line(doubt if sound else NOT_RELIED_ON, 9.5))
    if verdict is not None:
        held = {CONFORMS: ": kept", FAILS: ": not kept"}.get(verdict.outcome, "")
        said.append(_Line(f"limit {verdict.limit:.4g} {unit}{held}", 9.5, True))
    return said


def _between(low: float, high: float, doubt: float, unit: str) -> str:
    if not math.isfinite(high):
        return "how sure this is cannot be told"
    space = "" if unit == "\u00b0" else " "
    return f"between {between(low, high, doubt).replace(' to ', ' and ')}{space}{unit} (95 %)"


def _to_do(
    fit: WobbleFit, marks: NeutralLine, before: Change | None, not_compared: str
) -> list[_Line]:
    """Return which teeth to mark, what was done to the blade, and what came of it."""
    if marks.marked is None:
        head, _, words = " ".join(marks.instructions).partition(": ")
        told = [(head, words)] if fit.mistake is None else []
    else:
        first, second = (mark.tooth for mark in marks.marked)
        left, chance = left_words(marks), sure_words(marks)
        sure = f" ({chance} sure)" if chance else ""
        within = f" The plate then stood within {left} of square (95 %)." if left else ""
        told = [
            (
                f"Teeth {first} and {second}: the line to set a saw by",
                "upright for table and bevels, level for miter gauge and riving knife, as found on "
                f"our arbor{sure}.{within} Read the blade again on your saw before you mark it: "
                "its arbor adds a wobble of its own.",
            )
        ]
    if fit.readings.done:
        told.append(("What was done", fit.readings.done))
    if before is not None:
        told.append((OF_CHANGE[before.verdict], changed_words(before)))
    if not_compared:
        told.append(("Before and after: not compared", sentence(not_compared)))
    lines = []
    for head, words in told:
        lines.append(_Line(head, 11.0, True, above=6.0))
        lines += [_Line(words, 10.0)] if words else []
    return lines


def _earlier(fit: WobbleFit, before: Change | None) -> tuple[WobbleFit | None, float]:
    """Return the fit before, where its curve may be drawn, and how it is to be turned.

    Where tooth 1 may have been another, nothing tells one direction from the other: both near
    spots are put on one.
    """
    earlier = None if before is None else before.earlier
    if before is None or earlier is None or fit.mistake or earlier.mistake:
        return None, 0.0
    return earlier, 0.0 if before.tooth_1_marked else fit.near_deg - earlier.near_deg


def _caption(drawing: BladeDrawing, before: Change | None) -> str:
    """Return what the drawing shows, in words."""
    readings = drawing.fit.readings
    numbers = readings.blade.numbered
    seen = f"Seen from the indicator's side{f' ({readings.side})' if readings.side else ''}"
    seen += "." if numbers else "; way of the numbers not stated, drawn clockwise."
    said = [seen, *drawing.scale_words().split(". ")[:2]]
    said = [f"{one.rstrip('.')}." for one in said]
    if drawing.fit.standing:
        said.append("Diamond: stands off alike in every turn.")
    if drawing.before is not None and before is not None:
        said.append("Solid line, circles: now. Dashed line, triangles: before")
        aligned = ", turned until both are nearest at one spot: tooth 1 may have been another."
        said[-1] += "." if before.tooth_1_marked else aligned
    return " ".join(said)


def _under(page: Page, top: float, words: str, wide: float) -> None:
    """Write what the drawing shows below it, in three lines at most."""
    for size in (7.0, 6.5, 6.0, 5.5, 5.0, 4.5):
        lines = page.wrapped(words, size, wide)
        if len(lines) <= 3:
            break
    page.lines(MARGIN, top, lines, size, size * LINE)


def _column(page: Page, told: Sequence[_Line], left: float) -> None:
    """Write lines of several styles beside the drawing, as large as they fit."""
    wide, room = page.width - MARGIN - left, page.bottom - page.top
    for scale in _SCALES:
        laid = [(one, page.wrapped(one.words, scale * one.size * _wide(one), wide)) for one in told]
        tall = sum((len(lines) * one.size + one.above / 1.25) * LINE for one, lines in laid)
        if scale * tall <= room:
            break
    top = page.top
    for one, lines in laid:
        size = scale * one.size
        how = {"weight": "bold"} if one.bold else {}
        top = page.lines(
            left, top + scale * one.above * LINE / 1.25, lines, size, size * LINE, **how
        )


def _wide(one: _Line) -> float:
    return BOLD if one.bold else 1.0


# Below it


def _told(
    fit: WobbleFit, condition: Condition | None, before: Change | None, arbor: str
) -> list[_Told]:
    """Return the paragraphs of the small print."""
    said: list[_Told] = []
    above = () if condition is None else condition.reasons
    warned = [one for one in map(sentence, fit.rest) if one not in above]
    if warned:
        said.append(("Warnings", " ".join(warned)))
    if condition is not None:
        said.append(
            ("How it is decided", f"{RULES[condition.rule]} {sentence(condition.rule_line)}")
        )
        said += [("Limit and doubt", sentence(one.said(fit.unit))) for one in condition.verdicts]
        said += [("Take note", " ".join(condition.remarks))] if condition.remarks else []
    said.append(("What the readings cannot see", unseen(fit)))
    said += [("Seen by eye", sentence(condition.eye_line))] if condition else []
    if before is not None:
        warned = [sentence(one) for one in before.warnings]
        said.append(("Before and after", " ".join([before.words, *warned])))
    ring = fit.readings.ring_radius
    where = f" at {ring:g} {fit.unit} from the axis" if ring is not None else ""
    on = f", on {arbor}" if arbor else ""
    how = (
        f"{evidence(fit)}; on the {fit.readings.surface}{where}{on}. Your own arbor and flanges "
        "add their own wobble: on your saw it reads otherwise, and marks hold for the mounting "
        "they were found in."
    )
    return [*said, ("How it was read", how)]


def _small_print(page: Page, told: Iterable[_Told]) -> None:
    """Write paragraphs in two columns above the foot, below a line, as large as there is room."""
    wide, needed = (page.inner - _GUTTER) / 2, _LEAST_CHART + _CAPTION
    for size in _SMALL:
        lines: list[tuple[str, bool]] = []
        for head, words in told:
            lines += [(head, True), *((line, False) for line in page.wrapped(words, size, wide))]
        half = (len(lines) + 1) // 2
        # No heading stands alone at the foot of the first column.
        half -= lines[half - 1][1]
        tall = max(half, len(lines) - half) * size * LINE
        if page.bottom - tall - 4.0 - page.top >= needed:
            break
    top = page.bottom - tall
    for left, part in ((MARGIN, lines[:half]), (MARGIN + wide + _GUTTER, lines[half:])):
        down = top
        for line, bold in part:
            how = {"weight": "bold"} if bold else {}
            down = page.lines(left, down, [line], size, size * LINE, **how)
    page.rule_across(top - 1.5)
    page.bottom = top - 3.5


def _made_from(page: Page, fit: WobbleFit, condition: Condition | None) -> None:
    """Write what the sheet was made from, so that it can be made again."""
    settings = [order.order for order in fit.harmonics if order.order > 1]
    words = f"bladegeom {__version__}; " + ("robust fit; " if fit.robust else "")
    words += f"waves fitted beside the wobble: {', '.join(map(str, settings)) or 'none'}; "
    digest = digest_of(fit.readings, () if condition is None else (condition.to_dict(),))
    words += f"digest of the input {digest}"
    page.text(MARGIN, page.bottom - 3.0, words, 6.5, color=GREY)
    page.bottom -= 5.0
