"""A shop's own limits are read as written, and every fault is told with its row."""

from __future__ import annotations

import pytest

import bladegeom as bg
from bladegeom.faults import RefusedError
from bladegeom.shop.limit import Limit
from bladegeom.shop.limits import Limits, read_limits

GOOD = """# invented
[[limit]]
quantity = "wobble_tir"
value = "0.10 mm"
source = "shop rule 3 (invented)"
from = "200 mm"
to = "10 in"

[[limit]]
quantity = "raw_tir"
value = "6 thou"
source = "agreed with the customer (invented)"
ring = "100 mm"
"""
TABLE = """quantity,limit_mm,source,diameter_from_mm,diameter_to_mm,ring_radius_mm
wobble_tir,0.10,shop rule 3 (invented),200,254,
raw_tir,0.1524,agreed with the customer (invented),,,100
"""


def written(tmp_path, text, name="shop.toml"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def faults(tmp_path, text, name="shop.toml"):
    with pytest.raises(RefusedError) as error:
        read_limits(written(tmp_path, text, name))
    assert all(fault.cure for fault in error.value.faults)
    return error.value.faults


def test_toml_and_csv_say_the_same(tmp_path):
    ours = read_limits(written(tmp_path, GOOD)).limits
    theirs = read_limits(written(tmp_path, TABLE, "shop.csv")).limits
    assert len(ours) == len(theirs) == 2
    for one, other in zip(ours, theirs, strict=True):
        assert (one.quantity, one.source) == (other.quantity, other.source)
        assert one.in_unit("mm") == pytest.approx(other.in_unit("mm"), rel=1e-12)
        assert one.ranged == other.ranged
    assert (ours[0].row, theirs[0].row) == (2, 2)


@pytest.mark.parametrize(
    ("old", "new", "row", "words"),
    [
        ('quantity = "wobble_tir"', 'quantity = "runout"', 3, "runout"),
        ('quantity = "wobble_tir"\n', "", 2, "says no quantity"),
        ('value = "0.10 mm"', "value = 0.10", 4, "no unit"),
        ('value = "0.10 mm"', 'value = "0.10"', 4, "no unit"),
        ('value = "0.10 mm"', 'value = "0 mm"', 2, "value is 0 mm"),
        ('value = "0.10 mm"', 'value = "-1 mm"', 2, "value is -1 mm"),
        ('source = "shop rule 3 (invented)"\n', "", 2, "says no source"),
        ('source = "shop rule 3 (invented)"', 'source = "  "', 5, "no text"),
        ('from = "200 mm"', 'from = "300 mm"', 2, "runs from 300 mm to 10 in"),
        ('to = "10 in"', 'too = "10 in"', 7, "too is not a known key"),
        ('[[limit]]\nquantity = "raw', '[[limits]]\nquantity = "raw', 9, "limits is not a known"),
        ('ring = "100 mm"', 'ring = "100 mm', 13, "not in order"),
    ],
)
def test_each_fault_of_a_toml_file_has_its_row(tmp_path, old, new, row, words):
    assert old in GOOD
    (fault,) = faults(tmp_path, GOOD.replace(old, new, 1))
    assert words in fault.problem
    assert fault.row == row


@pytest.mark.parametrize(
    ("old", "new", "row", "words"),
    [
        ("wobble_tir,", "runout,", 2, "runout"),
        ("wobble_tir,0.10", "wobble_tir,", 2, "not given"),
        ("wobble_tir,0.10", "wobble_tir,big", 2, "not a number"),
        ("wobble_tir,0.10", "wobble_tir,0", 2, "value is 0 mm"),
        ("shop rule 3 (invented)", "", 2, "no source"),
        ("200,254", "300,254", 2, "runs from"),
        ("limit_mm", "limit", 1, "limit is not a known column"),
        ("source", "origin", 1, "origin is not a known column"),
        ("diameter_to_mm", "diameter_from_in", 1, "both given"),
    ],
)
def test_each_fault_of_a_table_has_its_row(tmp_path, old, new, row, words):
    found = faults(tmp_path, TABLE.replace(old, new, 1), "shop.csv")
    assert words in found[0].problem
    assert found[0].row == row


@pytest.mark.parametrize("text", ["", "# nothing\n"])
def test_a_file_without_limits_is_refused(tmp_path, text):
    assert "holds no limit" in faults(tmp_path, text)[0].problem


def test_all_faults_are_listed(tmp_path):
    text = GOOD.replace('"0.10 mm"', '"0.10"').replace('"6 thou"', '"six thou"')
    assert [fault.row for fault in faults(tmp_path, text)] == [4, 11]


def small_and_large(first_to=250.0, then_from=251.0):
    return Limits(
        (
            Limit("wobble_tir", (0.1, "mm"), "invented", last=(first_to, "mm")),
            Limit("wobble_tir", (0.2, "mm"), "invented", first=(then_from, "mm"), last=(400, "mm")),
        )
    )


@pytest.mark.parametrize(("diameter", "value"), [(200, 0.1), (250, 0.1), (251, 0.2), (400, 0.2)])
def test_the_limit_is_the_one_whose_range_holds_the_diameter(diameter, value):
    (one,) = small_and_large().of(diameter)
    assert one.in_unit("mm") == value


@pytest.mark.parametrize(
    ("limits", "diameter", "words"),
    [
        (small_and_large(), 450, "no limit for this blade of 450 mm"),
        (small_and_large(), 250.5, "no limit for this blade"),
        (small_and_large(260, 255), 257, "2 limits hold"),
        (small_and_large(), None, "diameter"),
        (Limits(()), None, "no limit for this blade"),
    ],
)
def test_no_limit_or_two_are_refused(limits, diameter, words):
    with pytest.raises(RefusedError, match=words):
        limits.of(diameter, "X")


def test_an_inch_blade_meets_a_millimetre_range():
    blade = bg.Blade(40, diameter="10 in")
    limits = Limits((Limit("wobble_tir", (0.1, "mm"), "invented", last=(254, "mm")),))
    assert len(limits.of(blade.diameter_mm)) == 1
