"""A day's blades: a sheet each, and the queue."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import Any, NamedTuple

from bladegeom.draw._crew import Drawing, crew
from bladegeom.draw._style import own_style, standard_fonts
from bladegeom.draw.day import write_printed
from bladegeom.draw.made import SHEETS, Made, file_names, files_of
from bladegeom.draw.page import paper_size, save_charts
from bladegeom.draw.queue import write_queue
from bladegeom.draw.reading_table import sheet_pages
from bladegeom.faults import Fault, RefusedError, Who, as_letters, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kinds import checked
from bladegeom.lengths import Length
from bladegeom.shop.batch import Earlier, Repeats, left_rows, queue_row, read_day
from bladegeom.shop.change import Change
from bladegeom.shop.condition import Condition, assess
from bladegeom.shop.history import Visit, record_and_ask, visit
from bladegeom.shop.limits import Limits
from bladegeom.shop.queue import SHOWN_IN, to_read_again, unit_for, worst_first
from bladegeom.shop.totals import totals
from bladegeom.tables.blade_facts import read_blade_facts
from bladegeom.tables.out import check_apart, digest_of


@dataclass(frozen=True)
class Done:
    """What a batch came to.

    Attributes
    ----------
    rows : list of dict
        One a blade that was judged, sorted by what is to be done, and by how far over the limit.
    left : list of dict
        One a blade that was not, or a file; they stand first in the queue.
    refused : list of Fault
    drawn, kept : int
        Sheets that were drawn, and sheets that were there already.
    files : list of Path
        Of the queue.
    notes : list of str
    """

    rows: list[dict[str, Any]]
    left: list[dict[str, Any]]
    refused: list[Fault]
    drawn: int
    kept: int
    files: list[Path]
    notes: list[str]

    def text(self) -> str:
        """Return how many blades there are of each action and customer, and what was written."""
        again = len(to_read_again(self.rows))
        blades = "1 blade" if len(self.rows) == 1 else f"{len(self.rows)} blades"
        sheets = "1 sheet" if self.drawn == 1 else f"{self.drawn} sheets"
        lines = [f"{blades}, {sheets} drawn, {self.kept} kept as they were"]
        lines.append(totals([*self.left, *self.rows]).text())
        if again:
            lines.append(f"{again} to read again, teeth in {as_letters(self.files[-1])}")
        return "\n".join([*lines, *(f"wrote {as_letters(file)}" for file in self.files)])


@checked
def run_batch(
    inputs: Sequence[str | os.PathLike[str]],
    limits: Limits,
    out: str | os.PathLike[str],
    *,
    blades: str | os.PathLike[str] | None = None,
    before: Sequence[str | os.PathLike[str]] = (),
    tooth_1_marked: bool = False,
    seating: Length | None = None,
    history: str | os.PathLike[str] | None = None,
    rule: str = "zones",
    shop: str = "",
    arbor: str = "",
    paper: str = "a4",
    with_readings: bool = False,
    date: Date | None = None,
    show_in: str | None = None,
    progress: Callable[[int, int], None] | None = None,
    **facts: Any,
) -> Done:
    """Fit and judge every blade, draw its sheet, and write the queue.

    All sheets are also put into one file to print, ``day.pdf``, by customer, behind a page with
    totals and with what must wait; ``labels.pdf`` has a label a blade, where the limits tell the
    shop's sheet of labels.

    What an earlier run left in the folder is moved aside first, into ``earlier/``, but for sheets
    that were made from the same readings, limits and settings: they are kept, so that a batch that
    was stopped goes on where it was and ends with the same files. A list says which files runs
    made; no other is touched. Many sheets are drawn by as many processes as there are cores to use.

    Parameters
    ----------
    inputs : sequence of path
        Tables of readings.
    limits : Limits
    out : path
        A folder, made if it is not there: ``sheets/`` and the queue in it.
    blades : path, optional
        A table with one row of facts a blade; what the eye found stands in its column ``eye``
        (``none`` where it looked and found nothing); words that say neither that nor a fault
        refuse the blade. A blade without a row there is judged by what
        its readings say.
    before : sequence of path
        Tables of the readings before the service; a blade is known by its name.
    tooth_1_marked : bool
        Whether tooth 1 is marked for good on all of them; see `change`.
    seating : str or (float, str), optional
        See `change`.
    history : path, optional
        Folder of the shop's history (see `record`), to which the measurements are added; not
        those in which a mistake was found, nor those of blades without a name.
    rule : {"zones", "simple"}
        See `assess`.
    shop, arbor : str
        Printed on the sheets.
    paper : {"a4", "letter"}
    with_readings : bool
        Whether the readings are printed too, on the back of each sheet.
    date : datetime.date, optional
        Printed on the sheets; today if not given.
    show_in : {"mm", "in", "thou"}, optional
        Unit of the queue for people; if not given, that of the limits where all are alike, else of
        the readings.
    progress : callable, optional
        Told how many blades of how many are done.
    **facts
        As for `read_blades`, of all tables: ``unit``, ``sheet``, and what is stated of all blades.

    Returns
    -------
    Done

    Raises
    ------
    RefusedError
        If no blade can be answered, what is to be read would be written over, or the folder
        cannot be written.
    """
    _check(out, history, [*inputs, *before, *([] if blades is None else [blades])], show_in)
    day, told = date or Date.today(), progress or (lambda *_: None)
    if limits.labels is not None:
        limits.labels.places(*paper_size(paper))  # Refused before anything is drawn.
    look: dict[str, Any] = {"shop": shop, "arbor": arbor, "paper": paper, "date": day}
    look["with_readings"] = with_readings
    kept: dict[str, Any] = {"date": day, "arbor": arbor, "tooth_1_marked": tooth_1_marked}
    made = Made(out)
    notes: list[str] = []
    with _noted(notes, made):
        beside = None if blades is None else read_blade_facts(blades)
        found = read_day(inputs, beside, **facts)
        notes += found.notes
        whose = [one.readings.blade.who for one in found.readings]
        earlier = Earlier(before, beside, whose, tooth_1_marked, seating, **facts)
        repeats = Repeats(one.readings for one in found.readings)
        sheets = made.places(file_names([one.who for one in found.readings]))
        judged: list[_Judged] = []
        count = len(found.readings)
        with crew() as drawers:
            for place, (page, (_, file, readings, eye, apart)) in enumerate(
                zip(sheets, found.readings, strict=True)
            ):
                told(place - drawers.at_work, count)
                changed, who, compared = None, readings.blade.who, len(earlier.refused)
                try:
                    fit = fit_wobble(readings)
                    pooled = repeats.of(readings)
                    condition = assess(fit, limits, rule=rule, eye=eye, pooled=pooled)
                except RefusedError as error:
                    found.refused.extend(fault.within(file).of(who) for fault in error.faults)
                    continue
                if condition.sound and not apart:
                    changed = earlier.change_to(fit)
                why = "; ".join(fault.problem for fault in earlier.refused[compared:])
                if not apart and who in earlier and not condition.sound:
                    why = "its readings mislead"
                    notes.append(f"not compared with before, {why}: {who}")
                how = look | {"apart": apart, "before": changed, "not_compared": why}
                digest, drawing = _digest(fit, condition, **how), None
                if not made.bring_back(page, digest):
                    what = (page, digest, fit, condition)
                    drawing = drawers.start(count - place, _draw, *what, **how)
                where = {"file": file, "sheet": f"{SHEETS}/{page.name}", "digest": digest}
                row, seen = queue_row(condition, changed, day) | where, None
                if history is not None and condition.sound and who.name and not apart:
                    seen = visit(fit, service="after" if changed else "", **kept)
                judged.append(_Judged(drawing, row, seen, file, who))
            done = [*_drawn(judged, found.refused, lambda: told(count - drawers.at_work, count))]
        rows = [one.row for one in done]
        visits = [one.visit for one in done if one.visit is not None]
        drawn = sum(one.sheet is not None for one in done)
        told(count, count)
        refused = [*found.refused, *earlier.refused]
        if not rows:
            made.finish([])
            raise RefusedError(refused)
        if alone := earlier.alone(Who(row["blade"], row["customer"]) for row in rows):
            notes.append(f"read before only: {', '.join(alone)}")
        notes += [] if history is None else _recorded(visits, history, len(rows))
        rows, left = worst_first(rows), worst_first(left_rows(found.refused, rows[0], day))
        shown_in, open_ = (show_in, "") if show_in else unit_for(limits, rows)
        notes += filter(None, [open_])
        files = write_printed(rows, left, made.folder, limits.labels, shop, paper, day)
        files += write_queue([*left, *rows], refused, made.folder, shown_in)
        made.finish(files)
    return Done(rows, left, refused, drawn, len(rows) - drawn, files, [*notes, *made.notes])


def _check(
    out: str | os.PathLike[str],
    history: str | os.PathLike[str] | None,
    read: list[str | os.PathLike[str]],
    show_in: str | None,
) -> None:
    """Refuse, before anything is done, what cannot be shown or would be written over."""
    if show_in not in (None, *SHOWN_IN):
        raise refuse(f"show_in is {show_in!r}", f"give {', '.join(SHOWN_IN)}", value=show_in)
    recorded = [] if history is None else [*Path(history).glob("*")]
    check_apart([*files_of(out), *recorded], read)


def _recorded(visits: list[Visit], history: str | os.PathLike[str], of: int) -> list[str]:
    """Add measurements to a history; return what is to be said of that."""
    added, asked = record_and_ask(visits, history)
    return [*asked, f"{len(added)} of {of} measurements recorded in {as_letters(history)}"]


class _Judged(NamedTuple):
    """A blade that was judged, its sheet in the making, or there already."""

    sheet: Drawing | None
    row: dict[str, Any]
    visit: Visit | None
    file: str
    who: Who


def _digest(fit: WobbleFit, condition: Condition, before: Change | None, **how: Any) -> str:
    """Return the same digits for the same sheet."""
    settings: list[object] = [condition.to_dict(), sorted(how.items())]
    if before is not None:
        settings.append(before.to_dict())
        settings += [] if before.earlier is None else [digest_of(before.earlier.readings)]
    return digest_of(fit.readings, settings)


def _draw(page: Path, digest: str, *what: Any, **how: Any) -> None:
    with standard_fonts(), own_style():
        pages = sheet_pages(*what, **how)
        save_charts(pages, page, len(pages), keywords=f"digest {digest}")


def _drawn(
    judged: Sequence[_Judged], refused: list[Fault], tell: Callable[[], None]
) -> Iterator[_Judged]:
    """Yield the blades whose sheets are there, once they are; add what is wrong with the others."""
    for one in judged:
        try:
            if one.sheet is not None:
                one.sheet.wait()
        except RefusedError as error:  # Its place may be locked; the others go on.
            refused.extend(fault.within(one.file).of(one.who) for fault in error.faults)
            continue
        tell()
        yield one


@contextmanager
def _noted(notes: list[str], made: Made) -> Iterator[None]:
    """Say what else is to be known of a run also where everything is refused."""
    try:
        yield
    except RefusedError as error:
        for note in (*notes, *made.notes):
            error.add_note(note)
        raise
    finally:
        made.close()
