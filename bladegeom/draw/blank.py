"""Blank forms for all blades of a list: a workbook to be filled in, or the pages of a PDF."""

from __future__ import annotations

import io
import os
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from bladegeom.blade import Blade
from bladegeom.columns import EYE, FACT_COLUMNS, MOST_TEETH, Column, Gaps
from bladegeom.draw.form import HOW, reading_sheet
from bladegeom.draw.page import save_charts
from bladegeom.draw.printed import CAUTIONS
from bladegeom.draw.queue import without_times
from bladegeom.draw.results import need_workbooks, put
from bladegeom.faults import Fault, RefusedError, Who, as_letters, refuse
from bladegeom.lengths import NumberError
from bladegeom.readings import Readings
from bladegeom.tables._workbook import FACTS, READINGS
from bladegeom.tables._workbook import HOW as HOW_SHEET
from bladegeom.tables.blade_facts import facts_of_sheet
from bladegeom.tables.blades import Beside
from bladegeom.tables.facts import blade_of, need_teeth, reading_facts, stated_facts
from bladegeom.tables.out import (
    check_new,
    check_turns,
    check_unit_stated,
    stated_columns,
    whole_file,
)
from bladegeom.tables.sheets import open_sheet, sheet_mark, take_units
from bladegeom.tables.table import customer_of
from bladegeom.tables.text import read_bytes

_FIRST = ("blade", "customer", "job", "teeth")
"""Columns before the readings, as far as the list has them."""

_A4, _LETTER = 9, 1
_AGAIN = "1 again"
_HEADS = 2
"""Rows above the blades: the teeth, and the unit."""

_WIDEST = 28
_GREY, _PALE = "BFBFBF", "EDEDED"
_NO_READING = (
    "Write what the indicator shows as a number, such as -1.5, or ? where the tooth was not read. "
    "Grey cells are beyond the last tooth of the blade: leave them empty."
)
_FOOT = (
    "Unplug the saw or lock it out before you touch the blade; turn it by hand only. Mark with a "
    f"felt-tip pen only. See the sheet {HOW_SHEET}."
)


class _Listed(NamedTuple):
    """A blade of the list: what is known of it, and its row of the facts as it was written."""

    blade: Blade
    keywords: dict[str, Any]
    cells: dict[str, Any]


def write_blanks(
    listed: str | os.PathLike[str],
    output: str | os.PathLike[str],
    *,
    workbook: bool,
    unit: str | None,
    turns: int,
    paper: str,
    **facts: Any,
) -> None:
    """Write blank forms for the blades of a list, a table with one row of facts a blade.

    As a workbook: a sheet to be filled in, a row a blade and turn, a column a tooth and one for
    tooth 1 again; a sheet with the facts; and one that tells how to read a blade. Any command that
    takes readings takes it as it is. Else as the pages of `reading_sheet`, one blade after the
    other.

    Parameters
    ----------
    listed, output : path
        `output` is a file that is not there yet.
    workbook : bool
    unit : {"mm", "in", "thou", "um"} or None
        Of the readings to come; a workbook needs it.
    turns : int
    paper : {"a4", "letter"}
    **facts
        What holds for all of them, as for `reading_sheet`.

    Raises
    ------
    RefusedError
        If anything is wrong with the list or a fact; nothing is written then.
    """
    target = check_new(output)
    if workbook:
        if target.suffix.lower() != ".xlsx":
            raise refuse(f"{target} is no name of a workbook", "let it end in .xlsx", value=target)
        need_workbooks(target, "leave --xlsx out for forms to print")
        check_unit_stated(unit)
    check_turns(turns)
    columns, blades = _read(listed, facts)
    if not workbook:
        how: dict[str, Any] = {"turns": turns, "unit": unit, "paper": paper}
        forms = (reading_sheet(one.blade, **how, **one.keywords) for one in blades)
        save_charts((page for form in forms for page in form), target, 2)
        return
    made = io.BytesIO()
    _book(blades, columns, str(unit), turns, paper, target.name).save(made)
    with whole_file(target) as file:
        without_times(made, file)


def _read(
    path: str | os.PathLike[str], given: Mapping[str, Any]
) -> tuple[list[str], list[_Listed]]:
    """Return the columns of a list of blades, and the blades."""
    name = as_letters(path)
    try:
        sheet, _ = take_units(open_sheet(read_bytes(path, name), name))
        facts = facts_of_sheet(sheet, name)
        if not all(one.name for one in facts.rows):
            raise refuse("there is no column blade", "add it: the name of each blade")
    except RefusedError as error:
        raise RefusedError(fault.within(name) for fault in error.faults) from None
    stated, mark = stated_facts(given), sheet_mark(sheet)
    beside = stated_columns(given)
    columns = [*filter(None, dict.fromkeys([*sheet.header, *beside, EYE]))]
    faults: list[Fault] = []
    blades = []
    for row, cells in sheet.rows:
        own = dict(zip(sheet.header, cells, strict=True))
        who = Who(own["blade"].strip(), customer_of(own.get("customer", "")))
        known, wrong = Beside(stated, facts).known(who, named=True, alone=False, row=row)
        try:
            if wrong:
                raise RefusedError(wrong)
            need_teeth(known, who.name, row)
            blade, keywords = blade_of(known, who.name), reading_facts(known)
            # What cannot be true is refused before it is written, as if it had been read.
            Readings(blade, [float("nan")] * blade.teeth, unit="mm", **keywords)
        except RefusedError as error:
            faults += [fault.within(name) for fault in error.faults]
            continue
        texts = {one: own.get(one, "").strip() or beside.get(one, "") for one in columns}
        made = {one: _cell(one, text, mark) for one, text in texts.items()}
        blades.append(_Listed(blade, keywords, made))
    if faults:
        raise RefusedError(faults)
    return columns, blades


def _cell(column: str, text: str, mark: str) -> Any:
    """Return what a workbook holds of a cell: numbers as such, names and words as text."""
    fact = FACT_COLUMNS.get(column, (Column("", "", ""), ""))[0]
    if not fact.numbers or not text:
        return text or None
    try:
        value = fact.read(text, mark)
    except NumberError:
        return text
    if isinstance(fact, Gaps):
        return fact.cell(value)
    return text if value is None else value


def _book(
    blades: Sequence[_Listed],
    columns: Sequence[str],
    unit: str,
    turns: int,
    paper: str,
    file: str,
) -> Any:
    from openpyxl import Workbook

    book = Workbook()
    pages = [book.active, book.create_sheet(FACTS), book.create_sheet(HOW_SHEET)]
    for page in pages:
        page.page_setup.paperSize = _LETTER if paper == "letter" else _A4
        page.page_setup.orientation = "landscape"
        page.page_margins.left = page.page_margins.right = 0.4
        page.oddFooter.center.text, page.oddFooter.center.size = _FOOT, 8
    readings, facts, how = pages
    readings.title = READINGS
    _fill_readings(readings, blades, columns, unit, turns)
    _fill_facts(facts, blades, columns)
    _fill_how(how, unit, file)
    return book


def _fill_readings(
    page: Any, blades: Sequence[_Listed], columns: Sequence[str], unit: str, turns: int
) -> None:
    from openpyxl.formatting import rule as rules
    from openpyxl.styles import Alignment, Border, Font, PatternFill, Side
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.datavalidation import DataValidation

    first = [one for one in _FIRST if one == "teeth" or one in columns]
    first += ["turn"] if turns > 1 else []
    most, start = max(one.blade.teeth for one in blades), len(first) + 1
    teeth = get_column_letter(first.index("teeth") + 1)
    heads = [*first, *range(1, most + 1), _AGAIN]
    rows = [heads, [None] * len(first) + [unit] * (most + 1)]
    for one in blades:
        for turn in range(1, turns + 1):
            known = one.cells | {"turn": turn, "blade": one.blade.name, "teeth": one.blade.teeth}
            rows.append([*(known[column] for column in first), *[None] * (most + 1)])
    line = Side(style="thin", color=_GREY)
    box = Border(left=line, right=line, top=line, bottom=line)
    for number, values in enumerate(rows, start=1):
        page.row_dimensions[number].height = 20 if number > _HEADS else 16
        for place, value in enumerate(values, start=1):
            cell = page.cell(number, place)
            put(cell, value)
            cell.border = box
            across = "left" if isinstance(value, str) and number > _HEADS else "center"
            cell.alignment = Alignment(horizontal=across, vertical="center", wrap_text=number == 1)
            if number <= _HEADS:
                cell.font = Font(bold=number == 1, italic=number == _HEADS)
                cell.fill = PatternFill("solid", _PALE)
            elif place < start and heads[place - 1] not in ("teeth", "turn"):
                cell.number_format = "@"  # What is typed there stays the text that it is: 007.
    for place, head in enumerate(heads, start=1):
        wide = 6.5
        if place < start:
            texts = [str(row[place - 1] or "") for row in rows]
            wide = min(_WIDEST, max(map(len, texts)) + 2)
        page.column_dimensions[get_column_letter(place)].width = 8 if head == _AGAIN else wide
    top, last = _HEADS + 1, len(rows)
    left, right, end = (get_column_letter(at) for at in (start, start + most - 1, start + most))
    here, beyond = f"{left}{top}", f"{left}$1>${teeth}{top}"

    def allow(cells: str, formula: str, problem: str) -> None:
        rule = DataValidation("custom", formula, allow_blank=True, showErrorMessage=True)
        rule.errorTitle, rule.error = "Not a reading", problem
        rule.add(cells)
        page.add_data_validation(rule)

    one_of = 'OR(ISNUMBER({0}),TRIM({0})="?")'
    readable = one_of.format(here)
    allow(f"{here}:{right}{last}", f"AND({left}$1<=${teeth}{top},{readable})", _NO_READING)
    allow(f"{end}{top}:{end}{last}", one_of.format(f"{end}{top}"), _NO_READING)
    whole = DataValidation("whole", operator="between", formula1=2, formula2=MOST_TEETH)
    whole.errorTitle = "Not a number of teeth"
    whole.error = f"Write a whole number of teeth from 2 to {MOST_TEETH}, here and in {FACTS}."
    whole.showErrorMessage = True
    whole.add(f"{teeth}{top}:{teeth}{last}")
    page.add_data_validation(whole)
    formula: Any = rules.FormulaRule  # Its types are not told.
    grey = formula([beyond], fill=PatternFill(bgColor=_GREY, fill_type="solid"))
    page.conditional_formatting.add(f"{here}:{right}{last}", grey)
    page.freeze_panes = here
    page.print_title_rows = f"1:{_HEADS}"
    page.print_title_cols = f"A:{get_column_letter(start - 1)}"
    page.page_setup.pageOrder = "overThenDown"
    page.oddHeader.left.text = f"Readings in {unit}; ? for not read"
    page.oddHeader.right.text = "page &P of &N"


def _fill_facts(page: Any, blades: Sequence[_Listed], columns: Sequence[str]) -> None:
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    rows = [[*columns], *([one.cells[column] for column in columns] for one in blades)]
    for number, values in enumerate(rows, start=1):
        for place, value in enumerate(values, start=1):
            cell = page.cell(number, place)
            put(cell, value)
            fact = FACT_COLUMNS.get(columns[place - 1])
            if number == 1:
                cell.font = Font(bold=True)
            elif fact is None or not fact[0].numbers:
                cell.number_format = "@"
    for place, column in enumerate(columns, start=1):
        wide = max(len(column), *(len(str(row[place - 1] or "")) for row in rows))
        page.column_dimensions[get_column_letter(place)].width = min(wide, _WIDEST) + 2
    page.freeze_panes = "B2"
    page.print_title_rows = "1:1"


def _fill_how(page: Any, unit: str, file: str) -> None:
    from openpyxl.styles import Alignment, Font

    lines = [
        ("How to read a blade", True),
        (HOW, False),
        (
            f"All readings are in {unit}, in the sheet {READINGS}: a row a blade (and turn), a "
            f"column a tooth. The last column, {_AGAIN}, is tooth 1 read again at the end of the "
            "turn: it shows whether the stand has moved. Grey cells are beyond the blade's last "
            "tooth. A blade whose row stays empty counts as not read.",
            False,
        ),
        (
            f"What is known of the blades stands in the sheet {FACTS}: correct it there. What the "
            f"eye found (cracks, missing tips, heat marks) goes into its column {EYE}: none, or "
            "the fault.",
            False,
        ),
        (
            f"Then: bladegeom batch {file} --limits LIMITS.toml --out FOLDER",
            False,
        ),
        ("Cautions", True),
        *((caution, False) for caution in CAUTIONS),
    ]
    page.column_dimensions["A"].width = 110
    for number, (words, bold) in enumerate(lines, start=1):
        cell = page.cell(number, 1)
        put(cell, words)
        cell.font = Font(bold=bold, size=13 if bold else 11)
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        page.row_dimensions[number].height = 16 * (1 + len(words) // 105) + 4
