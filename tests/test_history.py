"""A history in plain files: nothing torn passes, nothing whole is lost."""

from __future__ import annotations

import csv
import multiprocessing
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from simulated import rng_for, wave

import bladegeom as bg
from bladegeom.faults import shown
from bladegeom.shop.history import COLUMNS, check_value
from bladegeom.tables.out import as_text, from_text

DAY = date(2026, 3, 2)
ANY_TEXT = st.text(st.characters(exclude_categories=["Cs"]), max_size=30)


def a_visit(name="K-0412", day=DAY, amplitude=0.05, seed=1, **kept):
    rng = rng_for(seed)
    readings = wave(24, amplitude, 100.0, rng.normal(0, 0.003, 24), ring_radius="110 mm")
    blade = bg.Blade(24, diameter="254 mm", tooth_width="3.2 mm", name=name)
    named = bg.Readings(blade, readings.reading, unit="mm", ring_radius="110 mm")
    return bg.visit(bg.fit_wobble(named), date=day, **kept)


def test_what_is_recorded_is_read_back_bit_for_bit(tmp_path):
    visits = [
        a_visit(arbor="bench 1", service="before", tooth_1_marked=True, note='say "so", twice'),
        a_visit(day=date(2027, 1, 4), seed=2, service="after"),
        a_visit("0042", seed=3),
    ]
    assert bg.record(visits, tmp_path / "kept") == visits
    history = bg.read_history(tmp_path / "kept")
    assert sorted(one.name for one in (tmp_path / "kept").iterdir()) == ["2026.csv", "2027.csv"]
    assert not history.refused
    assert history.blades == ["0042", "K-0412"]
    back = history.of("K-0412") + history.of("0042")
    assert [one.to_dict() for one in back] == [one.to_dict() for one in visits]
    for one, other in zip(back, visits, strict=True):
        assert (one.date, one.wobble.value) == (other.date, other.wobble.value)
        assert np.array_equal(one.wobble.covariance, other.wobble.covariance)


@given(ANY_TEXT, ANY_TEXT, ANY_TEXT)
@example("=1+1", "@sum", "'=b")
@example("+x", "-x", "''-")
@settings(max_examples=100, deadline=None)
def test_any_text_survives_and_no_spreadsheet_runs_it(tmp_path_factory, name, arbor, note):
    folder = tmp_path_factory.mktemp("kept")
    kept = [shown(text).strip() for text in (name, arbor, note)]
    if not kept[0]:
        return
    bg.record([replace(a_visit(), blade=name, arbor=arbor, note=note)], folder)
    (one,) = bg.read_history(folder).visits
    assert [one.blade, one.arbor, one.note] == kept
    with (folder / "2026.csv").open(encoding="utf-8", newline="") as file:
        _, line = csv.reader(file)
    for cell in line:
        assert _is_number(cell) or not cell.startswith(("=", "@", "+", "-"))


def _is_number(cell):
    try:
        float(cell)
    except ValueError:
        return False
    return True


@given(ANY_TEXT)
def test_guarding_a_text_can_be_undone(text):
    assert from_text(as_text(text)) == text


def test_the_same_measurement_is_recorded_once(tmp_path):
    one = a_visit()
    assert bg.record([one, one], tmp_path) == [one]
    assert bg.record([one], tmp_path) == []
    assert len(bg.read_history(tmp_path).visits) == 1
    again = a_visit(service="after")
    assert bg.record([again], tmp_path) == [again]


def test_a_line_written_twice_by_two_stations_counts_once_and_is_said(tmp_path):
    bg.record([a_visit()], tmp_path)
    path = tmp_path / "2026.csv"
    header, line = path.read_text().splitlines()
    path.write_text(f"{header}\n{line}\n{header}\n{line}\n")
    history = bg.read_history(tmp_path)
    assert (len(history.visits), history.refused) == (1, [])
    assert "1 measurement is there twice" in history.notes[0]


@pytest.mark.parametrize("lost", [1, 5, 40, 200, 300])
def test_a_torn_line_is_named_and_the_next_one_is_whole(tmp_path, lost):
    bg.record([a_visit()], tmp_path)
    path = tmp_path / "2026.csv"
    whole = path.read_bytes()
    path.write_bytes(whole[:-lost])
    later = a_visit("K-0500", seed=5)
    bg.record([later], tmp_path)
    history = bg.read_history(tmp_path)
    if lost == 1:  # Only the end of the line was lost: every cell is there.
        assert (len(history.visits), history.refused) == (2, [])
        return
    assert [one.blade for one in history.visits] == ["K-0500"]
    (fault,) = history.refused
    assert (fault.file, fault.row) == ("2026.csv", 2)
    assert "record the measurement again" in fault.cure or "restore it" in fault.cure


@given(st.data())
@settings(max_examples=150, deadline=None)
def test_no_changed_digit_passes_in_silence(tmp_path_factory, data):
    folder = tmp_path_factory.mktemp("kept")
    bg.record([a_visit()], folder)
    path = folder / "2026.csv"
    text = path.read_text()
    at = data.draw(st.integers(text.index("\n") + 1, len(text) - 2))
    other = data.draw(st.sampled_from('0123456789.,;-x" '))
    if other == text[at]:
        return
    path.write_text(text[:at] + other + text[at + 1 :])
    history = bg.read_history(folder)
    if history.visits:  # A quote or a blank that changes no cell.
        assert history.visits[0].to_dict() == a_visit().to_dict()
    else:
        assert history.refused[0].row == 2


def test_a_line_may_be_mended_by_hand(tmp_path):
    bg.record([a_visit()], tmp_path)
    path = tmp_path / "2026.csv"
    header, line = path.read_text().splitlines()
    changed = line.replace("K-0412", "K-0413")
    path.write_text(f"{header}\n{changed}\n")
    (fault,) = bg.read_history(tmp_path).refused
    assert "empty its cell check" in fault.cure
    path.write_text(f"{header}\r\n,{changed.partition(',')[2]}\r\n")
    history = bg.read_history(tmp_path)
    assert history.blades == ["K-0413"]
    assert "no check value" in history.notes[0]


def test_cells_that_say_nothing_known_are_refused_by_row_column_and_value(tmp_path):
    bg.record([a_visit()], tmp_path)
    path = tmp_path / "2026.csv"
    header, line = path.read_text().splitlines()
    for column, value, words in [
        ("date", "1/2/26", "no date"),
        ("teeth", "0", "no count"),
        ("dof", "many", "not a number"),
        ("unit", "cubits", "not known"),
        ("service", "during", "not known"),
        ("cosine_mm", "", "blank"),
        ("tooth_1_marked", "maybe", "not known"),
    ]:
        cells = next(csv.reader([line]))
        cells[1 + COLUMNS.index(column)] = value
        cells[0] = ""
        path.write_text(f"{header}\n{','.join(cells)}\n")
        (fault,) = bg.read_history(tmp_path).refused
        assert (fault.row, fault.column, fault.value) == (2, column, value)
        assert words in fault.problem
        assert fault.blade == "K-0412"


def test_other_tables_in_the_folder_are_named_and_not_written_to(tmp_path):
    (tmp_path / "2026.csv").write_text("tooth,reading_mm\n1,0.1\n")
    (tmp_path / "latin.csv").write_bytes(b"\xff\xfe\xe9")
    with pytest.raises(bg.RefusedError, match="other columns"):
        bg.record([a_visit()], tmp_path)
    assert (tmp_path / "2026.csv").read_text() == "tooth,reading_mm\n1,0.1\n"
    refused = bg.read_history(tmp_path).refused
    assert [one.file for one in refused] == ["2026.csv", "latin.csv"]


def test_what_cannot_be_found_again_is_refused(tmp_path):
    with pytest.raises(bg.RefusedError, match="without a name"):
        bg.record([a_visit("")], tmp_path / "new")
    assert not (tmp_path / "new").exists()
    with pytest.raises(bg.RefusedError, match="no folder"):
        bg.read_history(tmp_path / "nowhere")
    bg.record([a_visit()], tmp_path)
    with pytest.raises(bg.RefusedError, match="no blade K-1; it holds K-0412"):
        bg.read_history(tmp_path).of("K-1")
    (tmp_path / "file").write_text("")
    with pytest.raises(bg.RefusedError, match="cannot be written"):
        bg.record([a_visit()], tmp_path / "file" / "kept")
    with pytest.raises(bg.RefusedError, match="service is 'during'"):
        a_visit(service="during")


def _write_many(folder, station, count):
    one = a_visit()
    for number in range(count):
        named = replace(one, blade=f"{station}-{number}", note="x" * (7 * number % 300))
        bg.record([named], folder)


def test_stations_that_write_at_once_lose_and_tear_nothing(tmp_path):
    stations, each = 4, 40
    context = multiprocessing.get_context("spawn")
    running = [
        context.Process(target=_write_many, args=(tmp_path, station, each))
        for station in range(stations)
    ]
    for one in running:
        one.start()
    for one in running:
        one.join()
    found = bg.read_history(tmp_path)
    assert not found.refused
    assert not found.notes
    names = [f"{station}-{number}" for station in range(stations) for number in range(each)]
    assert sorted(one.blade for one in found.visits) == sorted(names)


def test_the_check_value_is_that_of_the_standard():
    """First 32 bits of SHA-256 of `abc` (FIPS 180-4, worked example; from memory)."""
    assert check_value(["abc"]) == "ba7816bf"


def test_measurements_come_in_the_order_of_their_days(tmp_path):
    days = [DAY + timedelta(days=30 * step) for step in (3, 0, 12, 1)]
    bg.record([a_visit(day=day, seed=seed) for seed, day in enumerate(days)], tmp_path)
    bg.record([a_visit(day=DAY, seed=9, service="before")], tmp_path)
    bg.record([a_visit(day=DAY, seed=10, service="after")], tmp_path)
    visits = bg.read_history(tmp_path).of("K-0412")
    assert [one.date for one in visits] == sorted([*days, DAY, DAY])
    assert [one.service for one in visits[:3]] == ["", "before", "after"]
