"""One table of columns: a new fact is one line, and is found everywhere."""

from __future__ import annotations

import numpy as np
import pytest
from make_readme import column_table
from written import run, save, sheet

import bladegeom as bg
from bladegeom import columns
from bladegeom.tables.out import digest_of

NEW = {
    "length of the blade": (
        columns.Length("bore", "blade", "of the hole"),
        *("bore_in", "1", "1in", 25.4, "2"),
    ),
    "length of the readings": (
        columns.Length("overhang", "mount", "of the rod"),
        *("overhang_mm", "80", "80mm", 80.0, "70"),
    ),
    "angle": (
        columns.Number("hook_deg", "blade", "of the teeth", "give 0 to 30", (0, 30), default=0.0),
        *("hook_deg", "15", "15", 15.0, "31"),
    ),
    "word": (
        columns.OneOf("clamp", "mount", "of the stand", "write nut or flange", ("nut", "flange")),
        *("clamp", "nut", "nut", "nut", "tape"),
    ),
    "words": (
        columns.Column("steel", "blade", "of the plate", default=""),
        *("steel", "75Cr1", "75Cr1", "75Cr1", "50CrV4"),
    ),
}


@pytest.fixture(params=NEW.values(), ids=NEW.keys())
def new(request):
    """Add one fact, in one line; it is gone again after the test."""
    held = (columns.STATED, columns.FACT_COLUMNS, columns.KNOWN_COLUMNS)
    kept = [dict(one) for one in held]
    columns.add_column(request.param[0])
    yield request.param
    for one, before in zip(held, kept, strict=True):
        one.clear()
        one.update(before)


def holds(readings, column):
    of = readings.blade if column.of == "blade" else readings
    return getattr(of, column.key)


def test_a_new_fact_is_read_kept_and_written(new, tmp_path):
    column, header, cell, _, kept, _ = new
    path = save(tmp_path / "a.csv", sheet(blade="A", **{header: cell}))
    readings = bg.read_blade(path)
    assert holds(readings, column) == kept
    assert holds(bg.read_blade(save(tmp_path / "b.csv", sheet())), column) == column.default
    frame = bg.read_table(path)
    assert frame[column.key].tolist() == [kept] * 12
    assert bg.fit_table(frame)["blade"].tolist() == ["A"]
    given = {column.name: column.argument(kept)}
    assert holds(bg.read_blade(save(tmp_path / "c.csv", sheet()), **given), column) == kept


def test_a_new_fact_is_an_argument_and_in_the_digest(new):
    column, _, _, _, kept, _ = new
    given = {column.name: column.argument(kept)}
    of_blade = column.of == "blade"
    blade = bg.Blade(4, **given if of_blade else {})
    plain = bg.Readings(bg.Blade(4), ([0, 1, 0, -1], "mm"))
    stated = bg.Readings(blade, ([0, 1, 0, -1], "mm"), **{} if of_blade else given)
    assert holds(stated, column) == kept
    assert digest_of(stated) != digest_of(plain)
    assert (blade == bg.Blade(4)) != of_blade
    with pytest.raises(bg.RefusedError, match="not a known fact"):
        bg.Blade(4, **{f"{column.name}x": 1})


def test_a_new_fact_is_checked_in_its_header_and_its_cells(new, tmp_path):
    column, header, cell, _, _, other = new
    misspelt = header.replace(column.name, column.name + column.name[-1])
    with pytest.raises(bg.RefusedError, match=rf"did you mean {column.name}|no known unit"):
        bg.read_blade(save(tmp_path / "a.csv", sheet(**{misspelt: cell})))
    rows = sheet(**{header: cell})
    rows[5][-1] = other
    with pytest.raises(bg.RefusedError) as refused:
        bg.read_blade(save(tmp_path / "b.csv", rows))
    (fault,) = refused.value.faults
    assert (fault.row, fault.column) == (6, column.name)
    second = save(tmp_path / "second.csv", f"blade,teeth,{header}\nA,12,{cell}\n")
    path = save(tmp_path / "c.csv", sheet(blade="A"))
    assert holds(bg.read_blade(path, blades=second), column) != column.default
    for cells in [[cell] * 11 + [other], *([[other] * 12] if column.among else [])]:
        frame = bg.read_table(path).assign(**{header: cells})
        with pytest.raises(bg.RefusedError, match=column.name):
            bg.fit_table(frame)


def test_a_new_fact_is_told_by_the_command_and_stands_on_its_empty_sheets(new, tmp_path):
    column, header, _, said, _, _ = new
    fact = ("--fact", f"{column.name}={said}")
    path = save(tmp_path / "a.csv", sheet())
    assert run("fit", path, *fact).status == 0
    assert column.name in run("fit", "--help").out
    form = tmp_path / "form.svg"
    assert run("sheet", "--teeth", "12", "--unit", "mm", *fact, "-o", form, "--csv").status == 0
    assert header in (tmp_path / "form.csv").read_text().splitlines()[0]
    assert column.name.split("_")[0] in form.read_text("utf-8")


def test_a_new_fact_stands_in_the_table_of_the_readme(new):
    column = new[0]
    (line,) = [one for one in column_table().splitlines() if f"`{column.name}" in one]
    assert column.meaning in line


def test_what_readings_and_blade_keep_cannot_be_changed():
    readings = bg.Readings(bg.Blade(4), ([0, 1, 0, -1], "mm"))
    for what in (readings, readings.blade):
        with pytest.raises(AttributeError):
            what.side = "left"
    assert readings.facts["side"] == readings.side == ""
    assert not np.isnan(readings.reading).any()


def test_a_fact_given_to_the_wrong_one_is_told_where_it_belongs():
    blade = bg.Blade(4)
    with pytest.raises(
        bg.RefusedError, match="side is a fact of the readings; give it to Readings"
    ):
        bg.Blade(4, side="left")
    with pytest.raises(bg.RefusedError, match="plate is a fact of the blade; give it to Blade"):
        bg.Readings(blade, ([0, 1, 0, -1], "mm"), plate="2 mm")
    with pytest.raises(bg.RefusedError, match='a length carries its unit: diameter="254 mm"'):
        bg.Blade(4, diameter_mm=254)
