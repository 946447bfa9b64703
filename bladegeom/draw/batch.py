"""A day's blades: a sheet each, and the queue."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import date as Date  # noqa: N812
from pathlib import Path
from typing import Any

from bladegeom.draw._style import own_style, standard_fonts
from bladegeom.draw.made import SHEETS, Made, file_names, files_of
from bladegeom.draw.page import save_charts
from bladegeom.draw.report import customer_sheet
from bladegeom.draw.results import write_queue
from bladegeom.faults import Fault, RefusedError, Who, as_letters
from bladegeom.fit.fit import fit_wobble
from bladegeom.kinds import checked
from bladegeom.lengths import Length
from bladegeom.shop.batch import Earlier, Repeats, left_rows, queue_row, read_day
from bladegeom.shop.condition import ACTIONS, assess
from bladegeom.shop.history import Visit, record_and_ask, visit
from bladegeom.shop.limits import Limits
from bladegeom.tables.blade_facts import read_blade_facts
from bladegeom.tables.out import check_apart, digest_of


@dataclass(frozen=True)
class Done:
    """What a batch came to.

    Attributes
    ----------
    rows : list of dict
        One a blade that was judged, sorted by what is to be done.
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
        """Return how many blades there are of each action, and what was written."""
        counts = Counter(row["action"] for row in self.rows)
        width = len(str(max(counts.values())))
        blades = "1 blade" if len(self.rows) == 1 else f"{len(self.rows)} blades"
        sheets = "1 sheet" if self.drawn == 1 else f"{self.drawn} sheets"
        lines = [f"{blades}, {sheets} drawn, {self.kept} kept as they were"]
        lines += [f"  {count:>{width}}  {action}" for action, count in counts.items()]
        if self.left:
            lines.append(f"  {len(self.left):>{width}}  refused, see below")
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
    unit: str | None = None,
    sheet: str | None = None,
    rule: str = "zones",
    shop: str = "",
    arbor: str = "",
    paper: str = "a4",
    date: Date | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Done:
    """Fit and judge every blade, draw its sheet, and write the queue.

    What an earlier run left in the folder is moved aside first, into ``earlier/``, but for sheets
    that were made from the same readings, limits and settings: they are kept, so that a batch that
    was stopped goes on where it was and ends with the same files. A list says which files runs
    made; no other is touched.

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
    unit : {"mm", "in", "thou", "um"}, optional
        Of readings whose column does not say.
    sheet : str, optional
        Which sheet, where a workbook has several with cells.
    rule : {"zones", "simple"}
        See `assess`.
    shop, arbor : str
        Printed on the sheets.
    paper : {"a4", "letter"}
    date : datetime.date, optional
        Printed on the sheets; today if not given.
    progress : callable, optional
        Told how many blades of how many are done.

    Returns
    -------
    Done

    Raises
    ------
    RefusedError
        If no blade can be answered, what is to be read would be written over, or the folder
        cannot be written.
    """
    day = date or Date.today()
    recorded = [] if history is None else [*Path(history).glob("*")]
    read = [*inputs, *before, *([] if blades is None else [blades])]
    check_apart([*files_of(out), *recorded], read)
    how_read = {"unit": unit, "sheet": sheet}
    made = Made(out)
    notes: list[str] = []
    with _noted(notes, made):
        facts = None if blades is None else read_blade_facts(blades)
        found = read_day(inputs, facts, **how_read)
        notes += found.notes
        whose = [one.readings.blade.who for one in found.readings]
        earlier = Earlier(before, facts, whose, tooth_1_marked, seating, **how_read)
        repeats = Repeats(one.readings for one in found.readings)
        sheets = made.places(file_names([one.who for one in found.readings]))
        rows: list[dict[str, Any]] = []
        visits: list[Visit] = []
        drawn = 0
        for place, (page, (_, file, readings, eye, apart)) in enumerate(
            zip(sheets, found.readings, strict=True)
        ):
            if progress is not None:
                progress(place, len(found.readings))
            try:
                fit = fit_wobble(readings)
                pooled = repeats.of(readings)
                condition = assess(fit, limits, rule=rule, eye=eye, pooled=pooled)
            except RefusedError as error:
                found.refused.extend(
                    fault.within(file).of(readings.blade.who) for fault in error.faults
                )
                continue
            changed, who = None, readings.blade.who
            if condition.sound and not apart:
                changed = earlier.change_to(fit)
            elif not apart and who in earlier:
                notes.append(f"not compared with before, its readings mislead: {who}")
            made_of = (condition.to_dict(), shop, arbor, paper, day.isoformat())
            more = [*([changed.to_dict()] if changed else []), *([apart] if apart else [])]
            digest = digest_of(readings, (*made_of, *more))
            how = {"shop": shop, "arbor": arbor, "paper": paper, "apart": apart}
            try:
                drawn += _drawn(made, page, digest, fit, condition, before=changed, date=day, **how)
            except RefusedError as error:  # Its place may be locked; the others go on.
                found.refused.extend(fault.within(file).of(who) for fault in error.faults)
                continue
            where = {"file": file, "sheet": f"{SHEETS}/{page.name}", "digest": digest}
            rows.append(queue_row(condition, changed, day) | where)
            if history is not None and condition.sound and who.name and not apart:
                service = "after" if changed else ""
                visits.append(
                    visit(
                        fit, date=day, arbor=arbor, service=service, tooth_1_marked=tooth_1_marked
                    )
                )
        if progress is not None:
            progress(len(found.readings), len(found.readings))
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
        rows.sort(key=lambda row: (ACTIONS.index(row["action"]), row["blade"], row["file"]))
        left = left_rows(found.refused, rows[0], day)
        files = write_queue([*left, *rows], [fault.to_dict() for fault in refused], made.queue)
        made.finish(files)
    return Done(rows, left, refused, drawn, len(rows) - drawn, files, [*notes, *made.notes])


def _drawn(made: Made, page: Path, digest: str, *what: Any, **how: Any) -> bool:
    """Bring back the sheet that an earlier run made of the same, or draw it; return whether."""
    if made.bring_back(page, digest):
        return False
    with standard_fonts(), own_style():
        ax = customer_sheet(*what, **how)
        save_charts([ax], page, 1, keywords=f"digest {digest}")
    return True


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
