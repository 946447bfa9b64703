"""The chart of the best rotation: curves at their places, names readable, words apart."""

from __future__ import annotations

import re
from datetime import date

import numpy as np
import pypdf
import pytest
from fits import check_fits, line_of
from matplotlib.figure import Figure
from numpy.testing import assert_allclose
from simulated import rng_for
from test_rotation import plate_of

import bladegeom as bg
from bladegeom.draw.turn import rotation_chart
from bladegeom.plate.line import PlateSlopes
from bladegeom.plate.plate import fit_plate
from bladegeom.plate.rotation import best_rotation
from bladegeom.tables.several import Ring

DAY = date(2026, 2, 3)
LONG = "a blade with a name that goes on and on, bought for the long wall of the old workshop"


def four_zeros(teeth=40, **asked):
    plate = plate_of(
        teeth=teeth, tilt=(3e-4, 4e-4), dish=3e-4, saddle_cos=0.002, saddle_sin=0.001, u=1e-4
    )
    return best_rotation(plate, table_height=(1.5, "in"), **asked)


def dished():
    return best_rotation(plate_of(tilt=(3e-4, 4e-4), dish=0.004, u=1e-4), table_height=(1.5, "in"))


def close_zeros(teeth=100):
    """A dish that all but outweighs the tilt: two zeros eleven degrees apart."""
    dish = 0.995 * 5e-4 * 25 / 6.5
    plate = plate_of(teeth=teeth, tilt=(5e-4, 0.0), dish=dish, u=1e-5)
    return best_rotation(plate, table_height=(1.5, "in"))


def any_will_do():
    return best_rotation(plate_of(dish=1e-4, u=3e-4), table_height=(1.5, "in"))


def without_dish(teeth=24, name="demo", rings=1):
    """Two rings whose dial was set anew between them, or one; real readings with scatter."""
    rng = rng_for(4)
    blade = bg.Blade(teeth, diameter="254 mm", name=name)
    angle = np.radians(blade.angles_deg)
    made = [
        Ring(
            bg.Readings(
                blade,
                5e-4 * r * np.cos(angle - 1) + rng.normal(0, 0.002, teeth),
                unit="mm",
                ring_radius=(r, "mm"),
                graduation="0.001 mm",
            ),
            zero=str(r),
        )
        for r in (110.0, 70.0)[:rings]
    ]
    return best_rotation(
        fit_plate(made),
        table_height=(38.0, "mm"),
        away_from_centre=(-21.5, "mm"),
        tolerance_deg=0.02,
    )


def names_of(ax):
    return {text.get_text(): text for text in ax.texts}


CASES = {
    "four zeros": lambda: four_zeros(tolerance_deg=0.02),
    "level": lambda: four_zeros(24, line="level", away_from_centre=(0.4, "in"), tolerance_deg=0.01),
    "many teeth": lambda: four_zeros(100),
    "three hundred teeth": lambda: four_zeros(300, tolerance_deg=0.5),
    "close zeros": close_zeros,
    "close zeros, long numbers": lambda: close_zeros(300),
    "dished": dished,
    "any": any_will_do,
    "one ring": without_dish,
    "long name": lambda: without_dish(100, LONG, 2),
}


@pytest.fixture(params=list(CASES))
def case(request):
    return CASES[request.param]()


def test_curve_and_limits_are_the_result_s_own(case):
    ax = rotation_chart(case, Figure().add_subplot())
    (label,) = [
        text.get_text()
        for text in ax.get_legend().texts
        if text.get_text().startswith("tilt") and text.get_text() != "tilt alone"
    ]
    turn, slope = line_of(ax, label).T
    assert_allclose(slope, case.slope_deg(turn))
    assert (turn[0], turn[-1]) == (0.0, 360.0)
    (band,) = ax.collections
    path = band.get_paths()[0].vertices
    at = float(turn[100])
    edges = path[np.isclose(path[:, 0], at), 1]
    told = PlateSlopes(case.plate, case.line).at(at)
    assert_allclose([edges.min(), edges.max()], [told.low, told.high])
    assert_allclose(line_of(ax, "tilt alone")[:, 1], case.tilt_slope_deg(turn))


def test_every_tooth_stands_at_its_own_angle_and_slope(case):
    ax = rotation_chart(case, Figure().add_subplot())
    places = line_of(ax, "a tooth uppermost")
    assert_allclose(places[:, 0], case.blade.angles_deg)
    assert_allclose(places[:, 1], case.slope_deg(case.blade.angles_deg))
    for place, text in zip(ax.get_xticks(), ax.get_xticklabels(), strict=True):
        assert case.blade.angle_of(int(text.get_text())) == pytest.approx(place % 360.0)


def test_zero_crossings_carry_the_names_of_their_teeth_and_the_best_is_largest():
    case = four_zeros()
    assert len(case.zeros_deg) == 4
    names = names_of(rotation_chart(case, Figure().add_subplot()))
    assert set(names) == {str(case.blade.nearest_tooth(zero)) for zero in case.zeros_deg}
    for name, text in names.items():
        assert text.xy[0] == pytest.approx(case.blade.angle_of(int(name)))
        best = name == str(case.best_tooth)
        assert text.get_fontweight() == ("bold" if best else "normal")
        assert (text.get_fontsize() >= 18) == best


def test_the_least_is_named_where_nothing_is_zero_and_nothing_where_any_will_do():
    one = dished()
    assert one.zeros_deg == ()
    assert list(names_of(rotation_chart(one, Figure().add_subplot()))) == [str(one.best_tooth)]
    assert names_of(rotation_chart(any_will_do(), Figure().add_subplot())) == {}


def test_the_tolerance_is_drawn_on_both_sides_and_only_if_given():
    ax = rotation_chart(four_zeros(tolerance_deg=0.03), Figure().add_subplot())
    flat = {float(line.get_ydata()[0]) for line in ax.lines if line.get_linestyle() == ":"}
    assert flat == {0.03, -0.03}
    assert "tolerance \u00b10.03\u00b0" in [text.get_text() for text in ax.get_legend().texts]
    assert ax.get_ylim()[1] > 0.03
    plain = rotation_chart(four_zeros(), Figure().add_subplot())
    assert not [line for line in plain.lines if line.get_linestyle() == ":"]


def test_a_missing_part_is_named_in_the_legend():
    ax = rotation_chart(without_dish(), Figure().add_subplot())
    assert "tilt and saddle, without dish" in [text.get_text() for text in ax.get_legend().texts]


def height_mm(ax):
    return ax.get_position().height * ax.figure.get_size_inches()[1] * 25.4


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_words_lie_on_each_other_or_off_the_page(case, paper):
    ax = rotation_chart(case, paper=paper, date=DAY)
    check_fits(ax, inside=True)
    assert height_mm(ax) > 35.0


def test_many_remarks_leave_room_for_the_curves():
    warnings = tuple(
        f"the stand was seen to move while ring {at} was read: " + "do read it again "
        "with the base held down and the dial untouched, and compare"
        for at in range(6)
    )
    plate = plate_of(tilt=(3e-4, 4e-4), dish=0.004, u=1e-4, warnings=warnings)
    ax = rotation_chart(best_rotation(plate, table_height=(1.5, "in")), date=DAY)
    check_fits(ax)
    assert height_mm(ax) > 35.0


def test_the_print_says_what_the_square_sees(tmp_path):
    case = dished()
    bg.save_chart(rotation_chart(case, date=DAY), tmp_path / "c.pdf")
    page = pypdf.PdfReader(tmp_path / "c.pdf").pages[0]
    text = re.sub(r"\s+", " ", page.extract_text())
    assert "the cut is made at the rim and stays square to the arbor" in text
    assert "A dish cannot be turned away" in text
    assert case.headline in text
    assert case.where in text
    assert "2026-02-03" in text
