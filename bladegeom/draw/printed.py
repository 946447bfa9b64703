"""The answer as text for a terminal, and the cautions that go with it."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from bladegeom.blade import Blade
from bladegeom.faults import shown
from bladegeom.fit.answer import Answer
from bladegeom.fit.marks import NeutralLine
from bladegeom.fit.wobble import WobbleFit
from bladegeom.result import Result, between, named, number, percent

if TYPE_CHECKING:
    from bladegeom.fit.face import FlangeFace
    from bladegeom.saw.bench import Step
    from bladegeom.saw.record import Recorded
    from bladegeom.saw.setup import SetUp
    from bladegeom.shop.remount import Remounted

WIDTH = 96

CAUTIONS = (
    "Unplug the saw or lock it out before you touch the blade, and turn it by hand only. Teeth cut "
    "when still. Take indicator, bar and square away before the power comes back.",
    "Mark with a felt-tip pen only: no punch, scratch, grinder or drill.",
    "Marks hold for this mounting. Once the nut is loosened or the blade remounted, measure again.",
    "Never bend a blade on the saw, shim a flange or overtighten the nut to cure runout.",
    "Cracks, missing tips, heat marks, a wrong bore or speed rating: out of service, whatever the "
    "numbers say. These numbers are about runout only and certify no safety.",
    "Refit guard and riving knife. Make the test cut in scrap, clear of the blade's line.",
    "The saw's manual, local rules and licensed practice come first.",
)
"""What everything printed for use at a saw carries."""

FACE_CAUTIONS = (CAUTIONS[0], *CAUTIONS[3:])
"""What goes with the face of a flange, on which nothing is drawn and no blade is mounted."""

NOT_RELIED_ON = "not to be relied on: see above"
"""Beside a number from readings in which a mistake seems likely."""


def answer_text(answer: Answer) -> str:
    """Return the answer for one blade: the teeth to mark, the numbers, the warnings."""
    fit, marks = answer.fit, answer.marks
    return "\n".join(
        [
            *textwrap.wrap(heading(fit.readings.blade, fit.readings.side), WIDTH),
            *warning_lines(fit.asked),
            "",
            *_wrapped(marks.instructions),
            "",
            *table_lines(marks),
            "",
            *table_lines(fit),
            *warning_lines(answer._remarks()),  # A likely mistake stands above already.
        ]
    )


def face_text(face: FlangeFace) -> str:
    """Return what is known of the face of a flange."""
    title, *do = face._title().split("\n")
    side = face.fit.readings.side
    title += f", indicator on the {shown(side)}" if side else ""
    lines = [
        title,
        *warning_lines(face._first()),
        "",
        *_wrapped(map(str.strip, do)),
        "",
        *table_lines(face),
    ]
    return "\n".join([*lines, *warning_lines(face._remarks())])


def remounted_text(one: Remounted) -> str:
    """Return the old marks beside the new, whether they serve, and the answer as it is now."""
    title, *_ = one._title().split("\n")
    table, first = table_lines(one), warning_lines(one._first())
    lines = [title, *first, "", *_wrapped(one.instructions), "", *table]
    return "\n".join([*lines, *warning_lines(one._remarks()), "", answer_text(one.now)])


def doubt_text(fit: WobbleFit) -> str:
    """Return where the doubt of one blade's wobble comes from, and what the wobble leaves."""
    from bladegeom.fit.shape import residual_shape

    budget, shape = fit.budget, residual_shape(fit)
    return "\n".join(
        [
            *textwrap.wrap(heading(fit.readings.blade, fit.readings.side), WIDTH),
            *warning_lines(fit.first),
            "",
            "  Standard uncertainties (k = 1) of the wobble, by cause",
            *table_lines(budget),
            *warning_lines(f"not in the sum: {one}" for one in budget.unknown),
            "",
            "  What the wobble leaves",
            *table_lines(shape),
            *warning_lines(fit.rest),
        ]
    )


def setup_text(setup: SetUp) -> str:
    """Return the steps of setting up a saw, each with what to do and what was found."""
    lines = [*textwrap.wrap(setup.do_now, WIDTH), "", shown(setup.title)]
    lines += [setup.notes] if setup.notes else []
    for place, step in enumerate(setup.steps, start=1):
        verdict = f": {step.word.upper()}" if step.word else ""
        lines += ["", f"{place}. {step.title}{verdict}"]
        lines += _wrapped([step.stand, *_found(setup, step), *step.told])
    return "\n".join([*lines, *warning_lines(setup.warnings)])


def _found(setup: SetUp, step: Step, most: int | None = None) -> list[str]:
    """Return the first, or all, of what was found in a step; when it was read; and before."""
    said = (setup.when(step), setup.was(step))
    return [*step.found[:most], *(one[:1].upper() + one[1:] for one in said)]


def next_text(setup: SetUp, file: str) -> str:
    """Return the one thing to do now at a saw, and how what is then read is recorded in its file.

    Where nothing is left to do, what stands within its tolerance, and what remains in doubt.
    """
    now = setup.now
    if now is None:
        return _finished(setup)
    lines = textwrap.wrap(f"Do now: {now.name}. {' '.join(now.do)}", WIDTH)
    lines += _wrapped([f"Stand: {now.stand}." if now.stand else ""])
    lines += _wrapped(
        [
            *_found(setup, now, None if now.off is None else 1),
            f"Verdict: {now.verdict}." if now.verdict else "",
        ]
    )
    if now.anew:
        then = "Then read again, and record" if now.state == "move" else "Record"
        lines += ["", f"{then} what you read:"]
        named = f'"{file}"' if " " in file else file
        order = [step.of for step in setup.steps]
        anew = [*now.anew.items()]
        if now.state == "read again":  # What hides it comes first; what was moved, after a move.
            anew.sort(key=lambda one: order.index(one[0]))
        for part, keys in anew:
            said = " ".join([part, *(f"{key}=..." for key in keys)])
            lines.append(f'  bladegeom setup {named} --record "{said}"')
    return "\n".join([*lines, "", shown(setup.title), *warning_lines(setup.next.warnings)])


def _finished(setup: SetUp) -> str:
    within = [step.title for step in setup.steps if not step.doubtful]
    lines = ["Do now: nothing. No move is told by what was read."]
    lines += _wrapped([f"Within the tolerance: {'; '.join(within)}." if within else ""])
    for step in setup.steps:
        if step.doubtful or step.more:
            word = step.word or ("no tolerance is stated" if step.state else "")
            lines += ["", f"{step.title}{word and ': '}{word.upper()}"]
            lines += _wrapped([*_found(setup, step, 1), *step.more])
    return "\n".join([*lines, "", shown(setup.title), *warning_lines(setup.warnings)])


def recorded_text(done: Recorded, file: str) -> str:
    """Return what was recorded of a saw, what has changed by it, and what to do next."""
    lines = [f"Recorded in {file}, at {done.at} by this computer's clock:"]
    setup = done.setup
    for part, values in done.entries:
        lines.append(f"  {part}: {', '.join(f'{key} = {one}' for key, one in values.items())}")
    for part in dict.fromkeys(part for part, _ in done.entries):
        step = setup.step_of(part)
        if step is not None:
            verdict = f": {step.word.upper()}" if step.word else ""
            lines += ["", f"{step.title}{verdict}", *_wrapped(_found(setup, step))]
        elif part == "blade" and setup.marks is not None:
            lines += ["", "Blade", *_wrapped(setup.marks.instructions)]
    return "\n".join([*lines, "", next_text(setup, file)])


def result_text(result: Result) -> str:
    """Return a result as it shows itself, broken into lines."""
    first = warning_lines(result._first())
    rest = [*table_lines(result), *warning_lines(result._remarks())]
    return "\n".join([result._title(), *first, *rest])


def marks_text(marks: NeutralLine) -> str:
    """Return the teeth to mark for a near tooth found by eye."""
    lines = [heading(marks.blade), "", *_wrapped(marks.instructions), "", *table_lines(marks)]
    return "\n".join(lines)


def sizes(blade: Blade) -> list[str]:
    """Return how many teeth a blade has, and its diameter where it is known."""
    teeth = [f"{blade.teeth} teeth"]
    return teeth if blade.diameter_mm is None else [*teeth, across(blade)]


def across(blade: Blade) -> str:
    """Return a blade's diameter, which must be known."""
    return f"{blade.diameter_mm:.4g} mm ({blade.diameter_in:.4g} in)"


def tir_words(fit: WobbleFit) -> str:
    """Return the wobble TIR with its unit."""
    return f"{number(fit.wobble_tir, 2 * fit.amplitude_u)} {fit.unit}"


def tir_limits(fit: WobbleFit) -> str:
    """Return the limits of the wobble TIR; empty where they are below a graduation not stated."""
    low, high, _ = fit.amplitude_interval()
    limits = between(2 * low, 2 * high, 2 * fit.amplitude_u)
    return f"95 %: {limits}" if math.isfinite(high) else ""


def sure_words(marks: NeutralLine) -> str:
    """Return how sure both teeth are that are to be marked; empty where nothing tells it."""
    chances = [mark.probability for mark in marks.marked or () if mark.probability is not None]
    return percent(min(chances)) if chances else ""


def left_words(marks: NeutralLine) -> str:
    """Return within what the plate stands square when the teeth are followed; empty if unknown."""
    most = math.nan if marks.left_most_deg is None else marks.left_most_deg
    return f"{number(most, most)}\u00b0" if math.isfinite(most) and marks.marked else ""


def heading(blade: Blade, side: str = "") -> str:
    """Return a line that says which blade this is and how its teeth are counted."""
    facts = sizes(blade)
    if blade.numbered:
        facts.append(f"numbered {blade.numbered} as seen from the indicator's side")
    if side:
        facts.append(f"indicator on the {shown(side)}")
    return f"{named(str(blade.who))}: {', '.join(facts)}"


def table_lines(result: Result) -> list[str]:
    """Return the rows of a result as an aligned table."""
    rows = result.shown_rows()
    width = max((len(label) for label, _ in rows), default=0)
    return [
        line
        for label, text in rows
        for line in textwrap.wrap(
            f"  {label:<{width}}  {text}", WIDTH, subsequent_indent=" " * (width + 4)
        )
    ]


def warning_lines(warnings: Iterable[str]) -> list[str]:
    """Return warnings as lines, an empty one before them."""
    lines = [
        line
        for warning in warnings
        for line in textwrap.wrap(f"  ! {warning}", WIDTH, subsequent_indent="    ")
    ]
    return ["", *lines] if lines else []


def cautions_text(cautions: Sequence[str] = CAUTIONS) -> str:
    """Return the cautions as text."""
    lines = [
        line
        for caution in cautions
        for line in textwrap.wrap(f"  - {caution}", WIDTH, subsequent_indent="    ")
    ]
    return "\n".join(["Cautions", *lines])


def _wrapped(lines: Iterable[str]) -> list[str]:
    return [
        part
        for line in filter(None, lines)
        for part in textwrap.wrap(f"  {line}", WIDTH, subsequent_indent="  ")
    ]
