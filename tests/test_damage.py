"""Tables damaged at random: refused in plain words, or read as written; never changed silently."""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_array_equal
from written import TEETH, changed, run, sheet, two_blades, wave, with_column, written

import bladegeom as bg
from bladegeom.sizes import SIZES
from bladegeom.tables.read import parse_blades

patient = settings(deadline=None, derandomize=True)
GOOD = with_column(two_blades(ring_radius_mm=100), "turn", "1")
WRITTEN = Counter(float(row[2]) for row in GOOD[1:])
FORMS = {
    "plain": written(GOOD).encode(),
    "decimal commas": written(GOOD, ";").replace(".", ",").encode(),
    "utf-16": written(GOOD, "\t", "\r\n").encode("utf-16"),
}


def read(text):
    """Return the blades that were read; nothing but a refusal may come up."""
    data = text if isinstance(text, bytes) else text.encode("utf-8", "surrogatepass")
    try:
        return parse_blades(data, "damaged.csv").readings
    except bg.RefusedError:
        return []


def accepted(text):
    return Counter(float(one) for blade in read(text) for one in blade.reading)


def meaning(cell):
    """Return by other means what one cell says, or None."""
    plain = cell.strip().replace("\u2212", "-")
    plain = "".join(
        " " + unicodedata.normalize("NFKC", sign).replace("\u2044", "/")
        if unicodedata.category(sign) == "No"
        else sign
        for sign in plain
    )
    sign = -1 if plain.startswith("-") else 1
    try:
        return float(sign * sum(Fraction(part) for part in plain.lstrip("+-").split()))
    except (ValueError, ArithmeticError):
        return None


cells = st.one_of(
    st.text(max_size=8),
    st.text("0123456789.,+-eE/ ½¼\u2212_x", max_size=8),
    st.sampled_from(["", "?", "nan", "inf", "1e999", "1e-400", "0x10", "1_0", "٣", "5\u2070"]),
    st.integers().map(str),
    st.floats().map(repr),
)


@patient
@given(st.integers(2, 25), st.sampled_from(GOOD[0]), cells)
@example(5, "reading_mm", "1e5")
@example(5, "reading_mm", "½")
@example(5, "reading_mm", "1,5")
@example(5, "tooth", "6")
def test_a_damaged_cell_changes_no_other_reading(row, column, cell):
    damaged = written(changed(GOOD, row, column, cell))
    allowed = Counter(WRITTEN)
    if column == "reading_mm" and (said := meaning(cell)) is not None:
        allowed[said] += 1
    assert accepted(damaged) <= allowed


@patient
@given(st.integers(2, 13), st.sampled_from(GOOD[0][1:]), cells)
def test_a_damaged_cell_leaves_the_other_blade(row, column, cell):
    blades = read(written(changed(GOOD, row, column, cell)))
    if blades:  # Else the file as a whole is refused, as where decimal marks are mixed.
        assert_array_equal(blades[-1].reading, [float(text) for text in wave(amplitude=0.2)])


@patient
@given(st.lists(st.tuples(st.integers(1, 25), st.integers(0, 5), cells), min_size=1, max_size=6))
def test_the_command_survives_damaged_cells(damage):
    rows = [list(row) for row in GOOD]
    for row, place, cell in damage:
        rows[row - 1][place] = cell
    data = written(rows).encode("utf-8", "surrogatepass")
    check_answer(run("fit", "-", "--json", stdin=data))


def check_answer(ran):
    assert ran.status in (0, 1, 2)
    assert ran.json.keys() == {"blades", "refused"}
    assert bool(ran.json["blades"]) is (ran.status < 2)
    assert bool(ran.json["refused"]) is (ran.status > 0)
    assert "Traceback" not in ran.err
    for fault in ran.json["refused"]:
        assert fault["problem"]
        assert fault["cure"]


strokes = st.lists(
    st.tuples(
        st.integers(0, 10_000),
        st.sampled_from(["insert", "replace", "delete"]),
        st.one_of(st.binary(max_size=3), st.sampled_from([b",", b";", b'"', b"\n", b".", b"0"])),
    ),
    min_size=1,
    max_size=4,
)


def struck(data, damage):
    """Return bytes with some inserted, replaced or deleted."""
    for place, way, new in damage:
        at = place % (len(data) + 1)
        end = at if way == "insert" else at + max(1, len(new))
        data = data[:at] + (b"" if way == "delete" else new) + data[end:]
    return data


def tokens(line):
    """Return every number in a line, whether a comma parts its cells or marks its decimals."""
    words = [*re.split(r"[,\t;\"\s]", line), *re.split(r"[\t;\"\s]", line.replace(",", "."))]
    return {said for word in words if (said := meaning(word)) is not None}


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS.keys())
@patient
@given(damage=strokes)
def test_damaged_bytes_are_refused_or_read_as_they_stand(form, damage):
    data = struck(form, damage)
    blades = read(data)
    if not blades:
        return
    wide = data[:2] in (b"\xff\xfe", b"\xfe\xff")
    try:
        text = data.decode("utf-16" if wide else "utf-8")
    except UnicodeDecodeError:
        text = data.decode("cp1252")
    lines = [tokens(line) for line in re.split(r"[\r\n]+", text)]
    for blade in blades:
        for tooth, reading in zip(blade.tooth.tolist(), blade.reading.tolist(), strict=True):
            assert any({tooth, reading} <= line for line in lines)


@pytest.mark.parametrize("form", FORMS.values(), ids=FORMS.keys())
@settings(patient, max_examples=60)
@given(damage=strokes)
def test_the_command_survives_damaged_bytes(form, damage):
    check_answer(run("fit", "-", "--json", stdin=struck(form, damage)))


@settings(patient, max_examples=60)
@given(st.binary(max_size=80))
def test_the_command_survives_any_bytes(data):
    check_answer(run("fit", "-", "--json", "--unit", "mm", "--teeth", "12", stdin=data))


@settings(patient, max_examples=60)
@given(st.text("0123456789.,;?- \n\t", max_size=60))
def test_the_command_survives_any_list(text):
    check_answer(run("fit", "-", "--json", "--unit", "mm", "--teeth", "5", stdin=text))


# Rows


@patient
@given(st.permutations(sheet()[1:]))
def test_the_order_of_the_rows_does_not_matter(rows):
    (blade,) = read(written([sheet()[0], *rows]))
    found = dict(zip(blade.tooth.tolist(), blade.reading.tolist(), strict=True))
    assert found == {int(row[0]): float(row[1]) for row in rows}


@patient
@given(st.sets(st.integers(1, TEETH)))
def test_rows_left_out_leave_the_others(lost):
    kept = [row for row in sheet()[1:] if int(row[0]) not in lost]
    blades = read(written([sheet()[0], *kept]))
    found = blades[0].tooth.tolist() if blades else []
    assert found == [int(row[0]) for row in kept]


@patient
@given(st.integers(2, TEETH), st.integers(1, TEETH + 1))
def test_a_row_written_twice_counts_once(row, at):
    rows = sheet()
    (blade,) = read(written([*rows[:at], rows[row], *rows[at:]]))
    assert sorted(blade.tooth[~blade.closing].tolist()) == [*range(1, TEETH + 1)]


@patient
@given(st.integers(1, TEETH), st.integers(0, 2))
def test_a_cell_lost_is_refused(row, place):
    rows = sheet()
    del rows[row][place]
    assert read(written(rows)) == []


@patient
@given(st.integers(1, TEETH), st.integers(0, 12))
def test_a_separator_too_many_is_refused(row, at):
    lines = written([row[:2] for row in sheet()]).splitlines()
    at = min(at, len(lines[row]))
    lines[row] = f"{lines[row][:at]},{lines[row][at:]}"
    with pytest.raises(bg.RefusedError, match=f"row {row + 1}: 3 cells under a header of 2"):
        parse_blades("\n".join(lines).encode(), "damaged.csv", teeth=TEETH)


# Numbers in the manner of several countries

amounts = st.lists(
    st.decimals(-20_000, 20_000, places=3).map(lambda value: value.normalize()),
    min_size=4,
    max_size=8,
)
SEPARATORS = {",": "comma", ";": "semicolon", "\t": "tab"}
MANNERS = {
    "points": lambda value: f"{value:f}",
    "decimal commas": lambda value: f"{value:f}".replace(".", ","),
    "comma for thousands": lambda value: f"{value:,f}",
    "point for thousands": lambda value: f"{value:,f}".translate(str.maketrans(",.", ".,")),
    "blank for thousands": lambda value: f"{value:,f}".replace(",", " "),
    "apostrophe for thousands": lambda value: f"{value:,f}".replace(",", "'"),
}


@pytest.mark.parametrize(
    ("manner", "separator"),
    [
        pytest.param(manner, separator, id=f"{name}, {SEPARATORS[separator]}")
        for name, manner in MANNERS.items()
        for separator in SEPARATORS
        # Between commas a point is a decimal point, by rule: there nobody writes 1.250 for 1250.
        if (name, separator) != ("point for thousands", ",")
    ],
)
@settings(patient, max_examples=60)
@given(values=amounts)
def test_numbers_in_any_manner_are_read_right_or_refused(manner, separator, values):
    rows = sheet([manner(value) for value in values], unit="um")
    for blade in read(written(rows, separator)):
        assert_array_equal(blade.reading, [float(value) for value in values])


@settings(patient, max_examples=60)
@given(amounts)
def test_numbers_with_points_between_commas_are_always_read(values):
    (blade,) = read(written(sheet([f"{value:f}" for value in values])))
    assert_array_equal(blade.reading, [float(value) for value in values])


# Units

PER_MM = {"mm": 1.0, "in": 1 / 25.4, "thou": 1000 / 25.4, "um": 1000.0}


@patient
@given(st.floats(0, 1), st.sampled_from(["diameter", "ring_radius", "plate", "graduation"]))
def test_a_length_is_the_same_in_every_unit(part, fact):
    least, most, *_ = SIZES[fact]
    millimetres = 1.001 * least * (0.998 * most / least) ** part
    for unit, factor in PER_MM.items():
        (blade,) = read(written(sheet(**{f"{fact}_{unit}": repr(millimetres * factor)})))
        holder = blade if fact in ("ring_radius", "graduation") else blade.blade
        assert getattr(holder, f"{fact}_mm") == pytest.approx(millimetres, rel=1e-12)
