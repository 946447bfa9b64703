"""The sheet that a blade goes back to its owner with."""

from __future__ import annotations

from datetime import date as Date  # noqa: N812

from matplotlib.axes import Axes

from bladegeom._version import __version__
from bladegeom.draw._axes import GREY
from bladegeom.draw._style import drawn
from bladegeom.draw.page import LINE, MARGIN, Page
from bladegeom.draw.polar import BladeDrawing
from bladegeom.draw.printed import (
    NOT_RELIED_ON,
    left_words,
    sure_words,
    tir_limits,
    tir_words,
)
from bladegeom.fit.marks import NeutralLine, neutral_line, sentence
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.shop.change import Change
from bladegeom.shop.condition import Condition
from bladegeom.shop.verdict import evidence
from bladegeom.tables.out import digest_of

_CHART = 104.0
"""Side of the drawing of the blade, in millimetres."""

_REASONS = 4
"""Room for the reasons, in lines of the usual size."""


@drawn
@checked
def customer_sheet(
    fit: WobbleFit,
    condition: Condition | None = None,
    *,
    before: Change | None = None,
    shop: str = "",
    arbor: str = "",
    apart: str = "",
    paper: str = "a4",
    date: Date | None = None,
) -> Axes:
    """Draw the one-page sheet of a blade: what was found, what to do, how sure it is.

    Parameters
    ----------
    fit : WobbleFit
    condition : Condition, optional
        What `assess` said of it; without it the sheet tells numbers and no verdict.
    before : Change, optional
        What `change` said of the blade before its service and now.
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
    page.head_of(fit, shop or "blade report", date, apart=apart)
    _small_type(page, fit, condition)
    _verdict(page, fit, condition)
    _numbers(page, fit, marks, sound=condition is None or condition.sound)
    side = min(_CHART, page.bottom - page.top)
    down = (page.bottom - page.top - side) / 2
    ax = page.axes(MARGIN - 4.0, page.top + down, side, side)
    BladeDrawing(fit, marks, ax, side).draw()
    _beside(page, _told(fit, condition, marks, before, arbor), MARGIN + side)
    return ax


def _verdict(page: Page, fit: WobbleFit, condition: Condition | None) -> None:
    """Write what to do in the largest type, and why below it."""
    if condition is None:
        marks, words = neutral_line(fit), "Wobble found."
        if fit.mistake is not None:
            words = f"{fit.mistake.again}: a mistake in the readings seems likely."
        elif marks.neutral is None:
            told = "any rotation will do" if marks.any_rotation else "the readings cannot tell"
            words = f"No direction is established: {told}."
        page.line(words, 22, 12.0, high=9.0, bold=True)
        return
    head = f"{condition.action[0].upper()}{condition.action[1:]}"
    page.line(head, 26, 13.0, high=11.0, bold=True)
    for size in (10.0, 9.0, 8.0, 7.0, 6.0):
        lines = page.wrapped(" ".join(condition.reasons), size, page.inner)
        if len(lines) * size <= _REASONS * 10:
            break
    page.top = 2.0 + page.lines(MARGIN, page.top, lines, size, size * LINE)


def _numbers(page: Page, fit: WobbleFit, marks: NeutralLine, *, sound: bool) -> None:
    """Write the three numbers with their doubt."""
    limits = tir_limits(fit) or "below the graduation, not stated"
    if not sound:
        limits = NOT_RELIED_ON
    cells = [
        ("wobble (TIR)", tir_words(fit), limits),
        ("all readings (TIR)", f"{fit.raw_tir:.4g} {fit.unit}", "highest less lowest reading"),
    ]
    if marks.worst_deg is not None:
        worst = f"up to {marks.worst_deg:.3f}\u00b0"
        left = left_words(marks)
        left = f"within {left} once marked (95 %)" if left else "no teeth to mark"
        cells.append(("out of square, marks ignored", worst, left))
    page.cells(cells, page.top, 3, (9, 20, 8.5), (4.2, 13.0))
    page.top += 19.0


def _told(
    fit: WobbleFit,
    condition: Condition | None,
    marks: NeutralLine,
    before: Change | None,
    arbor: str,
) -> list[tuple[str, str]]:
    """Return the paragraphs beside the drawing: a heading and its words."""
    said = []
    if fit.said:
        said.append(("Warnings", " ".join(sentence(one) for one in fit.said)))
    if marks.marked is not None:
        first, second = marks.marked
        said.append(
            (
                f"Teeth {first.tooth} and {second.tooth}",
                f"are the neutral line ({sure_words(marks)} sure): upright to set table and "
                "bevels, level to set miter gauge and riving knife. Mark them with a felt-tip pen.",
            )
        )
    if before is not None:
        words = before.words
        if before.seating_sd_mm is None:
            words += " How differently the blade seats when it is mounted anew is not in it."
        said.append((f"Before and after: {before.verdict}", words))
    ring = fit.readings.ring_radius
    where = f" at {ring:g} {fit.unit} from the axis" if ring is not None else ""
    on = f", on {arbor}" if arbor else ""
    said.append(
        (
            "How it was read",
            f"{evidence(fit)}; on the {fit.readings.surface}{where}{on}. Your own arbor and "
            "flanges add their own wobble: on your saw it reads otherwise, and marks hold for the "
            "mounting they were found in.",
        )
    )
    if condition is not None:
        said += [("Limit", verdict.said(fit.unit)) for verdict in condition.verdicts]
        if condition.remarks:
            said.append(("Take note", " ".join(condition.remarks)))
        said.append(("Decision rule", condition.rule_line))
        said.append(("Seen by eye", condition.eye_line))
    return said


def _beside(page: Page, told: list[tuple[str, str]], left: float) -> None:
    """Write the paragraphs beside the drawing, as large as they fit."""
    wide, top = page.width - MARGIN - left, page.top + 2.0
    for size in (10.0, 9.5, 9.0, 8.5, 8.0, 7.5, 7.0, 6.5, 6.0):
        blocks = [(head, page.wrapped(words, size, wide)) for head, words in told]
        step = size * LINE
        if sum((len(lines) + 1.8) * step for _, lines in blocks) <= page.bottom - top:
            break
    for head, lines in blocks:
        page.text(left, top, head, size * 1.05, weight="bold")
        top = 0.6 * step + page.lines(left, top + 1.2 * step, lines, size, step)


def _small_type(page: Page, fit: WobbleFit, condition: Condition | None) -> None:
    """Write what the sheet was made from, so that it can be made again."""
    settings = [order.order for order in fit.harmonics if order.order > 1]
    words = f"bladegeom {__version__}; " + ("robust fit; " if fit.robust else "")
    words += f"waves fitted beside the wobble: {', '.join(map(str, settings)) or 'none'}; "
    digest = digest_of(fit.readings, () if condition is None else (condition.to_dict(),))
    words += f"digest of the input {digest}"
    page.text(MARGIN, page.bottom - 3.0, words, 6.5, color=GREY)
    page.bottom -= 5.0
