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
from bladegeom.draw.made import SHEETS, Made, file_names, files_of
from bladegeom.draw.page import save_charts
from bladegeom.draw.queue import write_queue
from bladegeom.draw.report import customer_sheet
from bladegeom.faults import Fault, RefusedError, Who, as_letters, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.kinds import checked
from bladegeom.lengths import Length
from bladegeom.shop.batch import Earlier, Repeats, left_rows, queue_row, read_day
from bladegeom.shop.condition import assess
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
    date: Date | None = None,
    show_in: str | None = None,
    progress: Callable[[int, int], None] = lambda *_: None,
    **facts: Any,
) -> Done:
    """Fit and judge every blade, draw its sheet, and write the queue.

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
    if show_in not in (None, *SHOWN_IN):
        raise refuse(f"show_in is {show_in!r}", f"give {', '.join(SHOWN_IN)}", value=show_in)
    day = date or Date.today()
    recorded = [] if history is None else [*Path(history).glob("*")]
    read = [*inputs, *before, *([] if blades is None else [blades])]
    check_apart([*files_of(out), *recorded], read)
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
        rows: list[dict[str, Any]] = []
        visits: list[Visit] = []
        judged: list[_Judged] = []
        drawn, count = 0, len(found.readings)
        with crew() as drawers:
            for place, (page, (_, file, readings, eye, apart)) in enumerate(
                zip(sheets, found.readings, strict=True)
            ):
                progress(place - drawers.at_work, count)
                changed, who = None, readings.blade.who
                try:
                    fit = fit_wobble(readings)
                    pooled = repeats.of(readings)
                    condition = assess(fit, limits, rule=rule, eye=eye, pooled=pooled)
                except RefusedError as error:
                    found.refused.extend(fault.within(file).of(who) for fault in error.faults)
                    continue
                if condition.sound and not apart:
                    changed = earlier.change_to(fit)
                elif not apart and who in earlier:
                    notes.append(f"not compared with before, its readings mislead: {who}")
                made_of = (condition.to_dict(), shop, arbor, paper, day.isoformat())
                more = [*([changed.to_dict()] if changed else []), *([apart] if apart else [])]
                digest = digest_of(readings, (*made_of, *more))
                how = {"shop": shop, "arbor": arbor, "paper": paper, "apart": apart, "date": day}
                sheet_of = None
                if not made.bring_back(page, digest):
                    what = (page, digest, fit, condition)
                    sheet_of = drawers.start(count - place, _draw, *what, before=changed, **how)
                where = {"file": file, "sheet": f"{SHEETS}/{page.name}", "digest": digest}
                row, seen = queue_row(condition, changed, day) | where, None
                if history is not None and condition.sound and who.name and not apart:
                    seen = visit(fit, service="after" if changed else "", **kept)
                judged.append(_Judged(sheet_of, row, seen, file, who))
            for one in judged:
                try:
                    drawn += one.drawn()
                except RefusedError as error:  # Its place may be locked; the others go on.
                    found.refused.extend(f.within(one.file).of(one.who) for f in error.faults)
                    continue
                progress(count - drawers.at_work, count)
                rows.append(one.row)
                visits += filter(None, [one.visit])
        progress(count, count)
        refused = [*found.refused, *earlier.refused]
        if not rows:
            made.finish([])
            raise RefusedError(refused)
        if alone := earlier.alone(Who(row["blade"], row["customer"]) for row in rows):
            notes.append(f"read before only: {', '.join(alone)}")
        if history is not None:
            added, asked = record_and_ask(visits, history)
            said = f"{len(added)} of {len(rows)} measurements recorded in {as_letters(history)}"
            notes += [*asked, said]
        rows, left = worst_first(rows), worst_first(left_rows(found.refused, rows[0], day))
        shown_in, why = (show_in, "") if show_in else unit_for(limits, rows)
        notes += filter(None, [why])
        files = write_queue([*left, *rows], refused, made.folder, shown_in)
        made.finish(files)
    return Done(rows, left, refused, drawn, len(rows) - drawn, files, [*notes, *made.notes])


class _Judged(NamedTuple):
    """A blade that was judged, its sheet in the making, or there already."""

    sheet: Drawing | None
    row: dict[str, Any]
    visit: Visit | None
    file: str
    who: Who

    def drawn(self) -> bool:
        """Wait for the sheet; return whether it was drawn."""
        if self.sheet is None:
            return False
        self.sheet.wait()
        return True


def _draw(page: Path, digest: str, *what: Any, **how: Any) -> None:
    with standard_fonts(), own_style():
        ax = customer_sheet(*what, **how)
        save_charts([ax], page, 1, keywords=f"digest {digest}")


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
