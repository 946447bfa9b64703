"""The best rotation for a real square: geometry, signs, doubt, and what is not told."""

from __future__ import annotations

import math
import re
from dataclasses import replace

import GTC
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from plate_shape import BentPlate, _direction, _mounted, _proud_mm, ring_of
from rigid_body import RIGHT, TOWARD_INDICATOR, UP, turn_onto
from scipy import stats
from scipy.optimize import brentq
from simulated import rng_for

import bladegeom as bg
from bladegeom.plate.line import PlateSlopes
from bladegeom.plate.plate import fit_plate
from bladegeom.plate.rotation import best_rotation
from bladegeom.plate.shape import PlateFit
from bladegeom.tables.several import Ring

EXACT = 1e-7
"""Standard uncertainty of every parameter (heights at the rim) where nothing is in doubt."""


def plate_of(
    *,
    teeth: int = 40,
    unit: str = "in",
    rim: float = 5.0,
    tilt: tuple[float, float] = (0.0, 0.0),
    u: float = EXACT,
    dof: int = 100,
    harmonics: int = 2,
    covariance: np.ndarray | None = None,
    not_identified: dict[str, str] | None = None,
    warnings: tuple[str, ...] = (),
    **shape: float,
) -> PlateFit:
    """A fit that says what it is told: slopes of the tilt, and heights at the rim by name."""
    size = {"in": "in", "thou": "in"}.get(unit, "mm")
    blade = bg.Blade(teeth, name="demo", diameter=(2 * rim, size))
    angle = np.radians(blade.angles_deg)
    rings = [
        Ring(
            bg.Readings(
                blade,
                0.01 * np.sin(angle * at) + 0.001 * at,
                unit=unit,
                ring_radius=(part * rim, size),
            ),
            stand,
        )
        for at, (part, stand) in enumerate(
            [(0.9, "front"), (0.6, "front"), (0.9, "back"), (0.6, "back")], start=1
        )
    ]
    base = fit_plate(rings, harmonics=harmonics)
    told = {"tilt_cos": tilt[0], "tilt_sin": tilt[1], **shape}
    values = np.array([told.get(name, 0.0) for name in base.names])
    sd = np.where([name.startswith(("tilt", "traverse")) for name in base.names], u / rim, u)
    kept = [at for at, name in enumerate(base.names) if part_of(name) not in (not_identified or {})]
    return replace(
        base,
        names=tuple(base.names[at] for at in kept),
        values=values[kept],
        covariance=(np.diag(sd**2) if covariance is None else covariance)[np.ix_(kept, kept)],
        dof=dof,
        not_identified=not_identified or {},
        remarks=warnings,
        checks=base.checks._replace(tilt=None, saddle=None, heights=None),
    )


def best(plate: PlateFit, **square: object) -> bg.Rotation:
    """The best rotation for a square on a table 1.5 in above the arbor's axis."""
    return best_rotation(plate, **{"table_height": (1.5, "in"), **square})  # type: ignore[arg-type]


def part_of(name: str) -> str:
    return name.removesuffix("_cos").removesuffix("_sin")


# ---------------------------------------------------------------- closed forms


def test_a_dish_leans_an_upright_line_alike_at_every_rotation() -> None:
    # D (R + h) / R^2 for a line from h to the rim: D = 0.004 in, R = 5 in, h = 1.5 in.
    one = best(plate_of(dish=0.004))
    expected = math.degrees(math.atan(0.004 * (5.0 + 1.5) / 25.0))
    assert expected == pytest.approx(0.060, abs=5e-4)
    assert_allclose(one.slope_deg([0.0, 77.0, 190.0]), expected, rtol=1e-12)
    assert one.dish is not None
    assert_allclose(one.dish.value, expected, rtol=1e-12)
    assert_allclose(one.worst.value, expected, rtol=1e-12)
    assert (one.zeros_deg, one.best_tooth, one.resolved) == ((), None, False)


@pytest.mark.parametrize("crest_deg", [0.0, 31.0, 90.0])
def test_a_saddle_leans_it_by_twice_its_angle(crest_deg: float) -> None:
    # -S cos(2 theta2) (R + h) / R^2, theta2 from the horizontal to the crest.
    high, crest = 0.003, math.radians(crest_deg)
    plate = plate_of(saddle_cos=high * math.cos(2 * crest), saddle_sin=high * math.sin(2 * crest))
    one = best(plate)
    for top in (0.0, 20.0, 111.0, 300.0):
        from_level = crest_deg - (top + 90.0)
        slope = -high * math.cos(math.radians(2 * from_level)) * (5.0 + 1.5) / 25.0
        assert_allclose(one.slope_deg([top]), math.degrees(math.atan(slope)), atol=1e-12)
    assert len(one.zeros_deg) == 4


def test_a_reach_ends_the_line_before_the_rim() -> None:
    one = best(plate_of(dish=0.004), reach=(2.0, "in"))
    assert_allclose(one.worst.value, math.degrees(math.atan(0.004 * (3.5 + 1.5) / 25.0)))
    assert one.where == "upright from 1.5 to 3.5 in above the arbor's axis"


def test_a_level_line_with_its_middle_above_the_axis_feels_no_dish() -> None:
    plate = plate_of(tilt=(0.0005, 0.0), dish=0.004)
    one = best(plate, line="level")
    assert one.dish is not None
    assert (one.dish.value, one.dish.u) == (0.0, 0.0)
    assert "none: this line does not feel it" in str(one)
    assert_allclose(one.zeros_deg, [0.0, 180.0], atol=1e-9)
    # With its middle half an inch aside it runs up the dish: 2 away / R^2.
    aside = best(plate, line="level", away_from_centre=(0.5, "in"))
    assert aside.dish is not None
    assert_allclose(aside.dish.value, math.degrees(math.atan(0.004 * 1.0 / 25.0)))


def test_a_level_line_feels_a_saddle_by_its_height_above_the_axis() -> None:
    plate = plate_of(saddle_sin=0.003)
    one = best(plate, line="level")
    # z = S 2 u v / R^2 with tooth 1 uppermost: along v at u = h it rises by 2 S h / R^2.
    assert_allclose(one.slope_deg([0.0]), math.degrees(math.atan(2 * 0.003 * 1.5 / 25.0)))


# ---------------------------------------------------------------- a square held to a body


class Held:
    """A square on a bent plate as a body: its faces found with rotation matrices, no formula."""

    def __init__(self, plate: BentPlate, line: str, table: float, away: float, end: float) -> None:
        self.plate, self.mounted = plate, _mounted(plate, flipped=False)
        self.line, self.table, self.away, self.end = line, table, away, end

    def face_mm(self, top_deg: float, part: float) -> float:
        """Height of the plate over a place on the line, met by a line parallel to the arbor."""
        turn = turn_onto(_direction(self.plate, top_deg), UP)
        # The side on which the tooth after the uppermost stands.
        after = turn @ _direction(self.plate, top_deg + 5.0)
        follows = RIGHT if after @ RIGHT > 0 else -RIGHT
        if self.line == "upright":
            place = (self.table + part * (self.end - self.table)) * UP + self.away * follows
        else:
            along = self.away + (2 * part - 1) * self.end
            place = self.table * UP + along * follows
        body = (turn @ self.mounted).T

        def beyond(height: float) -> float:
            point = body @ (place + height * TOWARD_INDICATOR)
            return float(point[2] - _proud_mm(self.plate, point))

        return float(brentq(beyond, -20.0, 20.0, xtol=1e-15, rtol=8.9e-16))

    @property
    def length(self) -> float:
        return self.end - self.table if self.line == "upright" else 2 * self.end

    def slope_deg(self, top_deg: float) -> float:
        """A straightedge laid to both ends of the line."""
        rise = self.face_mm(top_deg, 1.0) - self.face_mm(top_deg, 0.0)
        return math.degrees(math.atan2(rise, self.length))

    def rests_deg(self, top_deg: float, side: int) -> tuple[float, float]:
        """Least and greatest slope at which a straightedge held to a side lies on the plate.

        It is pushed on at each slope until it touches; it can rest there if it then also touches
        beyond the middle of what it touched, which the faces of the hull between them tell.
        """
        parts = np.linspace(0.0, 1.0, 101)
        face = side * np.array([self.face_mm(top_deg, one) for one in parts])
        hull = [0]
        for at in range(1, len(parts)):
            while len(hull) > 1 and (
                (face[hull[-1]] - face[hull[-2]]) * (at - hull[-2])
                <= (face[at] - face[hull[-2]]) * (hull[-1] - hull[-2])
            ):
                hull.pop()
            hull.append(at)
        slopes = np.diff(face[hull]) / np.diff(parts[hull]) / self.length
        found = np.degrees(np.arctan(side * slopes))
        return float(found.min()), float(found.max())


BENT = BentPlate(
    tilt_deg=0.02,
    near_deg=63.0,
    dish_mm=0.03,
    saddle_mm=0.06,
    saddle_deg=21.0,
    trefoil_mm=0.02,
    trefoil_deg=70.0,
)


def fitted(bent: BentPlate, **facts: object) -> PlateFit:
    places = [(113.0, "front"), (80.0, "front"), (50.0, "front"), (113.0, "back")]
    rings = [ring_of(bent, r, stand=stand, teeth=24, **facts) for r, stand in places]
    return fit_plate(rings, harmonics=3)


@pytest.fixture(scope="module", params=["clockwise", "counterclockwise"])
def bent(request: pytest.FixtureRequest) -> tuple[BentPlate, PlateFit]:
    plate = replace(BENT, numbered=request.param)
    return plate, fitted(plate)


LINES = [
    ("upright", 38.0, 0.0),
    ("upright", 38.0, 22.0),
    ("upright", 20.0, -30.0),
    ("level", 38.0, 0.0),
    ("level", 60.0, 25.0),
    ("level", 0.0, -15.0),
]


def held_and_told(bent, line, table, away, reach=70.0):
    plate, fit = bent
    end = table + reach if line == "upright" else reach / 2
    one = best_rotation(
        fit,
        table_height=(table, "mm"),
        reach=reach and (reach, "mm"),
        away_from_centre=(away, "mm"),
        line=line,
    )
    return Held(plate, line, table, away, end), one


@pytest.mark.parametrize(("line", "table", "away"), LINES)
def test_slopes_are_those_of_a_straightedge_on_the_body(bent, line, table, away) -> None:
    held, told = held_and_told(bent, line, table, away)
    tops = np.arange(0.0, 360.0, 37.0)
    expected = [held.slope_deg(top) for top in tops]
    assert_allclose(told.slope_deg(tops), expected, atol=2e-5 * np.abs(expected).max() + 1e-7)
    assert np.ptp(expected) > 0.01


@pytest.mark.parametrize(("line", "table", "away"), LINES)
def test_at_the_best_rotation_the_square_on_the_body_reads_true(bent, line, table, away) -> None:
    held, told = held_and_told(bent, line, table, away)
    assert told.zeros_deg
    worst = abs(held.slope_deg(told.worst_deg))
    for zero in told.zeros_deg:
        assert abs(held.slope_deg(zero)) < 1e-4 * worst
    tooth = told.best_tooth
    assert_allclose(told.left.value, held.slope_deg(15.0 * (tooth - 1)), atol=1e-4 * worst)
    # No rotation on the body is worse than the one named.
    assert max(abs(held.slope_deg(top)) for top in range(0, 360, 5)) <= worst * (1 + 1e-3)


@pytest.mark.parametrize(("line", "table", "away"), [LINES[1], LINES[3]])
@pytest.mark.parametrize("side", [1, -1])
def test_a_square_rocks_as_far_as_it_can_rest_on_the_body(bent, line, table, away, side) -> None:
    held, told = held_and_told(bent, line, table, away)
    top = told.blade.angle_of(told.best_tooth)
    least, most = held.rests_deg(top, side)
    middle = held.slope_deg(top)
    rock = told.rock_deg if side == 1 else told.rock_other_deg
    assert_allclose(max(most - middle, middle - least), rock, rtol=0.03, atol=2e-5)
    ends = held.face_mm(top, 0.0), held.face_mm(top, 1.0)
    stands = [
        held.face_mm(top, part) - (1 - part) * ends[0] - part * ends[1]
        for part in np.linspace(0.0, 1.0, 51)
    ]
    farthest = max(stands, key=abs)
    assert_allclose(told.bow.value, farthest, rtol=2e-3)


def test_a_dish_rocks_a_square_by_four_bows_over_its_length() -> None:
    # A parabola's tangent at its end against its chord; z = D (r / R)^2 has the bow D L^2 / 4 R^2.
    one = best(plate_of(dish=-0.004), reach=(3.0, "in"))
    assert_allclose(one.bow.value, 0.004 * 9.0 / 4 / 25.0, rtol=1e-4)
    rock = math.degrees(math.atan(4 * one.bow.value / 3.0))
    assert_allclose(one.rock_deg, rock, rtol=1e-3)
    assert one.rock_other_deg == 0.0
    said = " ".join(one.remarks)
    assert "bulges toward the indicator" in said
    assert "Hold it against the other side" in said
    hollow = best(plate_of(dish=0.004), reach=(3.0, "in"))
    assert hollow.rock_deg == 0.0
    assert "Hold it against the indicator's side" in " ".join(hollow.remarks)


# ---------------------------------------------------------------- the best rotation

SLOPES = st.floats(-1e-3, 1e-3)
HEIGHTS = st.floats(-5e-3, 5e-3)


@settings(max_examples=40, deadline=None)
@given(
    tilt=st.tuples(SLOPES, SLOPES),
    dish=HEIGHTS,
    saddle=st.tuples(HEIGHTS, HEIGHTS),
    wave=st.tuples(HEIGHTS, HEIGHTS),
    table=st.floats(0.0, 3.0),
    away=st.floats(-2.0, 2.0),
    line=st.sampled_from(["upright", "level"]),
    teeth=st.integers(3, 100),
)
def test_every_zero_is_found_and_the_tooth_is_the_best_of_them(
    tilt, dish, saddle, wave, table, away, line, teeth
) -> None:
    plate = THREE[teeth % 2]
    shape = {"tilt": tilt, "saddle": saddle, "wave3": wave}
    told = {
        f"{part}_{end}": size
        for part, pair in shape.items()
        for end, size in zip(("cos", "sin"), pair, strict=True)
    } | {"dish": dish}
    plate = replace(plate, values=np.array([told.get(name, 0.0) for name in plate.names]))
    one = best_rotation(plate, table_height=(table, "in"), away_from_centre=(away, "in"), line=line)
    curve = one.slope_deg(np.linspace(0.0, 360.0, 2881))
    largest = float(np.abs(curve).max())
    if one.best_tooth is None:
        assert largest - float(np.abs(curve).min()) < 1e-4
        return
    assert_allclose(one.slope_deg(list(one.zeros_deg)), 0.0, atol=1e-9 * max(largest, 1e-6))
    assert len(one.zeros_deg) % 2 == 0
    # As a polynomial in exp(i top), of which a real zero is a root on the unit circle.
    parts = np.fft.fft(np.tan(np.radians(one.slope_deg(np.arange(16) * 22.5)))) / 16
    roots = np.roots([*parts[3:0:-1], parts[0], *parts[:-4:-1]])
    clear = np.abs(np.abs(roots) - 1) < 1e-7
    if not ((np.abs(np.abs(roots) - 1) < 1e-3) & ~clear).any():
        assert len(one.zeros_deg) == clear.sum()
    at = [one.blade.nearest_tooth(zero) for zero in one.zeros_deg]
    if at:
        left = [abs(one.slope_deg([one.blade.angle_of(tooth)])[0]) for tooth in at]
        assert_allclose(abs(one.left.value), min(left), atol=1e-9)
        assert one.best_tooth == one.blade.nearest_tooth(one.best_deg)
    else:
        assert_allclose(
            abs(one.slope_deg([one.best_deg])[0]), np.abs(curve).min(), atol=1e-4 * largest
        )
        assert abs(one.slope_deg([one.best_deg])[0]) <= np.abs(curve).min() + 1e-9
    assert_allclose(abs(one.worst.value), largest, rtol=1e-4)


THREE = [plate_of(teeth=teeth, harmonics=3) for teeth in (24, 41)]


def test_where_the_dish_outweighs_the_rest_the_least_is_named_with_what_is_left() -> None:
    plate = plate_of(tilt=(0.0005, 0.0), dish=0.004)
    one = best(plate)
    assert one.zeros_deg == ()
    # The dish leans the top toward the indicator: the far side of the tilt uppermost undoes most.
    assert one.best_deg == pytest.approx(180.0)
    assert one.best_tooth == 21
    assert_allclose(one.left.value, math.degrees(math.atan(0.004 * 6.5 / 25 - 0.0005)))
    assert "is the least there is" in one.headline
    # 0.00104 - 0.0005 over a line of 3.5 in.
    assert "0.001890" in str(one)
    assert " in over the line, upper end toward the indicator" in str(one)
    assert any("cannot be turned away" in remark for remark in one.remarks)
    assert "the cut is made at the rim and stays square" in one.remarks[-1]


def test_without_dish_and_saddle_it_is_the_neutral_line_with_the_same_sign() -> None:
    blade = bg.Blade(40, diameter="254 mm", name="demo")
    angle = np.radians(blade.angles_deg)
    noise = rng_for(5).normal(0.0, 1e-5, (4, 40))
    rings = []
    for at, (r, stand) in enumerate([(110, "front"), (70, "front"), (110, "back"), (70, "back")]):
        read = 5e-4 * r * np.cos(angle - math.radians(50.0)) + noise[at]
        rings.append(Ring(bg.Readings(blade, read, unit="mm", ring_radius=(r, "mm")), stand))
    one = best_rotation(fit_plate(rings), table_height=(38.0, "mm"))
    fit = bg.fit_wobble(rings[0].readings)
    line = bg.neutral_line(fit)
    assert one.neutral_teeth == tuple(end.tooth for end in line.neutral)
    assert one.best_tooth in one.neutral_teeth
    for tooth in (1, 7, 20):
        expected = bg.squareness(fit, tooth=tooth).error_deg
        assert_allclose(one.slope_deg([blade.angle_of(tooth)]), expected, atol=3e-5)
    for tooth, left in zip(one.neutral_teeth, (one.neutral_1, one.neutral_2), strict=True):
        assert_allclose(left.value, bg.squareness(fit, tooth=tooth).error_deg, atol=3e-5)
    assert_allclose(one.tilt_slope_deg([10.0]), one.slope_deg([10.0]), atol=3e-5)


def test_level_the_neutral_line_has_near_or_far_uppermost() -> None:
    one = best(plate_of(tilt=(0.0005, 0.0)), line="level")
    assert one.neutral_teeth == (1, 21)


def test_the_neutral_line_s_teeth_are_told_with_what_the_whole_shape_leaves() -> None:
    plate = plate_of(tilt=(0.0005, 0.0), dish=0.001, saddle_cos=0.0005)
    one = best(plate)
    assert one.neutral_teeth == (11, 31)
    for tooth, left in zip(one.neutral_teeth, (one.neutral_1, one.neutral_2), strict=True):
        assert_allclose(left.value, one.slope_deg([9.0 * (tooth - 1)])[0])
        assert_allclose(left.value, math.degrees(math.atan(0.0005 * 6.5 / 25)))


# ---------------------------------------------------------------- doubt


def correlated(names: int, seed: int = 3) -> np.ndarray:
    scale = np.array([4e-5, 4e-5, 3e-4, 2e-4, 2e-4, 1e-4])[:names]
    mix = rng_for(seed).normal(size=(names, names)) + 2 * np.eye(names)
    return mix @ mix.T / 10 * np.outer(scale, scale)


@pytest.mark.parametrize("line", ["upright", "level"])
def test_the_doubt_is_what_gtc_propagates(line: str) -> None:
    # GTC: uncertain real numbers with the fit's whole covariance, through the heights of both ends.
    cov = correlated(6)
    plate = plate_of(
        tilt=(0.3, 0.1), dish=0.4, saddle_cos=0.2, saddle_sin=-0.1, covariance=cov, u=1.0
    )
    assert plate.names[:5] == ("tilt_cos", "tilt_sin", "dish", "saddle_cos", "saddle_sin")
    one = best(plate, reach=(3.0, "in"), away_from_centre=(0.4, "in"), line=line)
    sd = np.sqrt(np.diag(cov))
    known = GTC.multiple_ureal(plate.values.tolist(), sd.tolist(), plate.dof)
    for i in range(len(sd)):
        for j in range(i):
            GTC.set_correlation(cov[i, j] / sd[i] / sd[j], known[i], known[j])

    def height(up: float, aside: float, top_deg: float):
        r, angle = math.hypot(up, aside), math.radians(top_deg) + math.atan2(aside, up)
        x, y = math.cos(angle), math.sin(angle)
        part = (r / 5.0) ** 2
        return (
            r * (known[0] * x + known[1] * y)
            + part * known[2]
            + part * (known[3] * math.cos(2 * angle) + known[4] * math.sin(2 * angle))
        )

    ends = [(1.5, 0.4), (4.5, 0.4)] if line == "upright" else [(1.5, -1.1), (1.5, 1.9)]
    for top in (0.0, 63.0, 200.0):
        start, end = (height(*place, top) for place in ends)
        lean = GTC.atan((end - start) / 3.0) * 180 / math.pi
        assert_allclose(one.slope_deg([top])[0], GTC.value(lean), rtol=1e-12)
        assert_allclose(one.slope_u_deg([top])[0], GTC.uncertainty(lean), rtol=1e-9)


def test_limits_are_students_with_the_fit_s_degrees_of_freedom() -> None:
    # Student's t for 5 degrees of freedom is 2.5706 (any table).
    one = best(plate_of(tilt=(5e-4, 0), u=1e-4, dof=5))
    assert_allclose((one.left.high - one.left.low) / 2 / one.left.u, 2.5706, rtol=1e-4)


@pytest.mark.parametrize("saddle", [0.0, 1e-3])
def test_limits_hold_the_truth_as_often_as_they_say(saddle: float) -> None:
    # Estimates drawn from the truth with a covariance whose scale is itself estimated.
    rng, runs, dof = rng_for(11), 250, 12
    truth = plate_of(tilt=(3e-4, 2e-4), dish=5e-4, saddle_cos=saddle, harmonics=2)
    unit = correlated(6)
    spread = np.linalg.cholesky(unit)
    one = best(truth, reach=(3.0, "in"))
    tops = [0.0, 85.0, 200.0]
    true = one.slope_deg(tops)
    kept = 0
    kept_best = 0
    for run in range(runs):
        values = truth.values + spread @ rng.normal(size=6)
        scale = rng.chisquare(dof) / dof
        seen = replace(truth, values=values, covariance=unit * scale, dof=dof)
        slopes = PlateSlopes(seen, one.line)
        for top, slope in zip(tops, true, strict=True):
            told = slopes.at(top)
            kept += told.low <= slope <= told.high
        if run < 50:
            chosen = best(seen, reach=(3.0, "in"))
            left = chosen.left or chosen.worst
            top = chosen.worst_deg
            top = top if chosen.best_tooth is None else seen.blade.angle_of(chosen.best_tooth)
            kept_best += left.low <= one.slope_deg([top])[0] <= left.high
    # 95 % within four standard deviations of a count; at the tooth chosen not below.
    assert abs(kept / (3 * runs) - 0.95) < 4 * math.sqrt(0.95 * 0.05 / runs)
    assert kept_best / 50 > 0.95 - 4 * math.sqrt(0.95 * 0.05 / 50)


def test_a_flat_plate_is_seldom_said_to_be_anything_else() -> None:
    rng, runs, named, held = rng_for(2), 200, 0, 0
    cov = correlated(6)
    for _ in range(runs):
        plate = replace(
            plate_flat, values=np.linalg.cholesky(cov) @ rng.normal(size=6), covariance=cov
        )
        slopes = PlateSlopes(plate, best_of_flat.line)
        named += slopes.chance() < 0.05
        worst = slopes.picked(slopes.worst())
        held += worst.low <= 0 <= worst.high
    # A tooth is named in 5 % of cases; of the worst rotation no lean is claimed in more.
    sd = math.sqrt(0.05 * 0.95 / runs)
    assert abs(named / runs - 0.05) < 4 * sd
    assert held / runs > 0.95 - 4 * sd


@pytest.mark.parametrize(("line", "felt"), [("upright", 5), ("level", 4)])
def test_limits_of_what_is_picked_from_scatter_are_scheffe_s(line: str, felt: int) -> None:
    # scipy.stats.f; tilt, dish (not of a level line) and saddle lean it, so many parameters.
    near = plate_of(tilt=(5e-4, 0), u=4e-4, dof=20)
    one = best(near, line=line)
    factor = math.sqrt(felt * stats.f.ppf(0.95, felt, 20))
    for picked in (one.left, one.worst):
        assert_allclose(picked.high - picked.value, factor * picked.u)
    clear = plate_of(tilt=(5e-4, 0), u=2e-5, dof=20)
    one = best(clear, line=line)
    for picked in (one.left, one.worst):
        assert_allclose(picked.high - picked.value, stats.t.ppf(0.975, 20) * picked.u)


plate_flat = plate_of(dof=10_000_000)
best_of_flat = best(plate_flat)


def test_any_rotation_will_do_is_said_with_the_worst_case() -> None:
    plate = plate_of(tilt=(1e-5, 0.0), u=1e-4)
    one = best(plate)
    assert not one.resolved
    assert one.best_tooth is one.best_deg is one.left is one.neutral_teeth is None
    assert one.headline.startswith("Any rotation will do: at worst 0.00")
    most = max(abs(one.worst.low), abs(one.worst.high))
    assert float(re.search(r"worst ([\d.]+) deg", one.headline)[1]) == pytest.approx(most, abs=1e-4)
    assert "No rotation is established as better" in " ".join(one.remarks)


def test_a_dish_alone_is_said_to_stay_at_any_rotation() -> None:
    one = best(plate_of(dish=0.004, u=1e-4))
    assert "ny rotation will do" not in one.headline
    assert "up to 0.06" in one.headline
    assert any("cannot be turned away" in remark for remark in one.remarks)


def test_a_doubt_that_is_not_known_is_never_printed_as_a_number() -> None:
    plate = plate_of(tilt=(0.0, 0.0), covariance=np.full((6, 6), math.nan))
    one = best(plate, tolerance_deg=0.02)
    assert not one.resolved
    assert one.best_tooth is None
    assert "cannot tell" in one.headline
    assert "nan" not in str(one)
    assert one.to_dict()["worst_slope_u_deg"] is None
    assert one.verdict == "cannot tell"


@pytest.mark.parametrize(
    ("tolerance", "verdict"), [(0.05, "within"), (0.005, "out"), (0.0262, "cannot tell")]
)
def test_the_verdict_is_about_the_best_tooth(tolerance: float, verdict: str) -> None:
    plate = plate_of(tilt=(0.0005, 0.0), dish=0.0037, u=5e-5)
    one = best(plate, tolerance_deg=tolerance)
    assert one.left.value == pytest.approx(0.0265, abs=1e-3)
    assert one.verdict == verdict
    assert best(plate).verdict is None


# ---------------------------------------------------------------- what is not told


@pytest.mark.parametrize("what", ["dish", "saddle"])
def test_what_is_not_identified_is_said_and_never_taken_for_nothing(what: str) -> None:
    plate = plate_of(tilt=(0.0005, 0.0), not_identified={what: "no second ring was read"})
    one = best(plate, tolerance_deg=1.0)
    assert one.missing == {what: "no second ring was read"}
    assert one.verdict == "cannot tell"
    assert one.headline.endswith(f"as far as can be told: {what} is not known")
    assert one.bow is None
    assert (one.dish is None) == (what == "dish")
    text = str(one)
    assert f"(without {what})" in text
    assert "no second ring was read" in text
    assert one.to_dict()["bow"] is None
    # The tilt is known and its slope stays.
    assert_allclose(one.slope_deg([0.0]), math.degrees(math.atan(0.0005)))


def test_a_line_that_does_not_feel_what_is_missing_does_not_miss_it() -> None:
    plate = plate_of(tilt=(0.0005, 0.0), not_identified={"dish": "one ring"})
    one = best(plate, line="level", tolerance_deg=1.0)
    assert one.missing == {}
    assert one.verdict == "within"
    # But it bends the line.
    assert one.bow is None


def test_one_real_ring_tells_no_dish() -> None:
    bent = replace(BENT, trefoil_mm=0.0)
    noise = rng_for(1).normal(0.0, 0.001, 24)
    one = best_rotation(
        fit_plate([ring_of(bent, 110.0, teeth=24, noise_mm=noise)]), table_height=(38.0, "mm")
    )
    assert list(one.missing) == ["dish"]
    assert "taken to be stiff" in " ".join(one.remarks)


def test_a_traverse_that_is_not_told_leans_no_line() -> None:
    plate = plate_of(tilt=(0.0005, 0.0), not_identified={"traverse": "one stand"})
    assert best(plate).missing == {}


def test_rings_that_fit_no_one_plate_are_trusted_with_no_verdict() -> None:
    plate = plate_of(tilt=(0.0005, 0.0))
    plate = replace(plate, checks=plate.checks._replace(tilt=0.0001))
    one = best(plate, tolerance_deg=1.0)
    assert one.verdict == "cannot tell"
    assert "the rings do not fit one plate" in one.headline


def test_warnings_of_the_fit_and_a_flipped_blade_are_passed_on() -> None:
    plate = plate_of(tilt=(0.0005, 0.0), warnings=("the guide is bent",))
    assert "The guide is bent." in best(plate).remarks
    flipped = replace(
        plate, rings=(*plate.rings, Ring(plate.rings[0].readings, flipped=True, zero="b"))
    )
    said = " ".join(best(flipped).remarks)
    assert "before the blade was flipped" in said


# ---------------------------------------------------------------- the line


def test_without_a_reach_the_line_ends_at_the_gullets_or_at_the_tips() -> None:
    plate = plate_of(tilt=(0.0005, 0.0))
    tips = best(plate)
    assert tips.line.end == 5.0
    assert any("Gullet depth not stated" in remark for remark in tips.remarks)
    blade = bg.Blade(40, diameter="10 in", gullet="0.5 in", name="demo")
    ring = plate.rings[0].readings
    read = bg.Readings(blade, ring.reading, unit="in", ring_radius="4.5 in")
    cut = replace(plate, rings=(Ring(read),))
    one = best(cut, away_from_centre=(1.0, "in"))
    assert_allclose(one.line.end, complex(math.sqrt(4.5**2 - 1), 1.0))
    assert not any("Gullet" in remark for remark in one.remarks)
    level = best(cut, line="level", away_from_centre=(-1.0, "in"))
    half = math.sqrt(4.5**2 - 1.5**2)
    assert_allclose([level.line.start, level.line.end], [1.5 - 1j * half, 1.5 + 1j * (half - 2)])


def test_a_square_longer_than_the_plate_ends_with_it_and_that_is_said() -> None:
    one = best(plate_of(tilt=(0.0005, 0.0)), reach=(6.0, "in"))
    assert one.line.end == 5.0
    assert any("reaches past the plate" in remark for remark in one.remarks)
    just = best(plate_of(tilt=(0.0005, 0.0)), reach=(3.5, "in"))
    assert not any("reaches past" in remark for remark in just.remarks)


def test_a_plate_without_a_diameter_needs_a_reach() -> None:
    base = plate_of(tilt=(0.0005, 0.0))
    ring = base.rings[0].readings
    read = bg.Readings(bg.Blade(40), ring.reading, unit="in", ring_radius="4.5 in")
    plate = replace(base, rings=(Ring(read),), reference_radius=4.5)
    with pytest.raises(bg.RefusedError, match="give reach"):
        best(plate)
    one = best(plate, reach=(5.0, "in"))
    assert one.line.end == 6.5
    assert any("read out to 4.5 in: beyond" in remark for remark in one.remarks)


@pytest.mark.parametrize(
    ("asked", "problem"),
    [
        ({"table_height": None}, "table_height is not given"),
        ({"table_height": (-1.0, "in")}, "the table lies above the arbor"),
        ({"table_height": (math.nan, "in")}, "table_height is nan"),
        ({"table_height": (math.inf, "in")}, "table_height is inf"),
        ({"table_height": (True, "in")}, "holds what is no number"),
        ({"table_height": ("high", "in")}, "holds what is no number"),
        ({"table_height": ([1.5], "in")}, "is a list"),
        ({"table_height": ([1.5, 2.0], "in")}, "is a list"),
        ({"table_height": "1.5"}, "has no unit"),
        ({"table_height": 1.5}, "without a unit"),
        ({"table_height": (5.0, "in")}, "there is no plate"),
        ({"table_height": (3.0, "in"), "away_from_centre": (4.5, "in")}, "there is no plate"),
        (
            {"table_height": (3.0, "in"), "away_from_centre": (-4.5, "in"), "line": "level"},
            "no plate",
        ),
        ({"table_height": (1.5, "in"), "reach": (0.0, "in")}, "reach is 0"),
        ({"table_height": (1.5, "in"), "reach": (-1.0, "in")}, "give a length above 0"),
        ({"table_height": (1.5, "in"), "reach": (math.nan, "in")}, "reach is nan"),
        (
            {"table_height": (1.5, "in"), "away_from_centre": (math.inf, "in")},
            "away_from_centre is inf",
        ),
        ({"table_height": (1.5, "in"), "line": "plumb"}, "write upright or level"),
        ({"table_height": (1.5, "in"), "tolerance_deg": 0.0}, "the tolerance is 0"),
        ({"table_height": (1.5, "in"), "tolerance_deg": math.nan}, "the tolerance is nan"),
        ({"table_height": (1.5, "in"), "tolerance_deg": True}, "tolerance_deg, not bool"),
    ],
)
def test_what_cannot_be_true_is_refused(asked: dict[str, object], problem: str) -> None:
    with pytest.raises(bg.RefusedError, match=re.escape(problem)):
        best_rotation(plate_of(tilt=(0.0005, 0.0)), **asked)  # type: ignore[arg-type]


# ---------------------------------------------------------------- units, words, keys


@pytest.mark.parametrize("unit", ["mm", "um", "in", "thou"])
@pytest.mark.parametrize("line", ["upright", "level"])
def test_every_unit_gives_the_same_angles(unit: str, line: str) -> None:
    # The same plate of 5 in radius, and the same square, in four units.
    per = {"mm": 25.4, "um": 25400.0, "in": 1.0, "thou": 1000.0}[unit]
    rim = 127.0 if unit in ("mm", "um") else 5.0
    shape = {"dish": 0.0012, "saddle_cos": 0.002, "saddle_sin": -0.001}
    plate = plate_of(
        unit=unit, rim=rim, tilt=(4e-4, 3e-4), **{name: one * per for name, one in shape.items()}
    )
    scale = np.array([1.0, 1.0, per, per, per, 1.0])
    plate = replace(plate, covariance=correlated(6) * np.outer(scale, scale))
    square = {"line": line, "away_from_centre": (0.3, "in"), "reach": (3.0, "in")}
    one = best(plate, **square)
    other = best_rotation(plate, table_height=(38.1, "mm"), **square)
    base = best(
        replace(plate_of(tilt=(4e-4, 3e-4), **shape), covariance=correlated(6)),
        **square,
    )
    assert (other.line.unit, one.line.unit, one.plate.unit) == ("mm", "in", unit)
    for found in (one, other):
        assert found.best_tooth == base.best_tooth
        assert_allclose(found.zeros_deg, base.zeros_deg, rtol=1e-9)
        assert_allclose(
            [found.left.value, found.left.u, found.worst.value, found.rock_other_deg],
            [base.left.value, base.left.u, base.worst.value, base.rock_other_deg],
            rtol=1e-8,
            atol=1e-13,
        )
        assert_allclose(found.bow.value, base.bow.value * per, rtol=1e-9)
        assert_allclose(found.p_value, base.p_value, rtol=1e-6)


def test_the_same_keys_whatever_is_known() -> None:
    told = [
        plate_of(tilt=(5e-4, 0), dish=0.001, saddle_cos=0.001),
        plate_of(u=1e-3),
        plate_of(tilt=(5e-4, 0), not_identified={"dish": "no", "saddle": "no"}),
    ]
    keys = [list(best(one).to_dict()) for one in told]
    assert keys[0] == keys[1] == keys[2]
    assert len(set(keys[0])) == len(keys[0])
    values = best(told[0]).to_dict()
    assert values["line_start_up"] == 1.5
    assert (values["line"], values["line_unit"], values["unit"]) == ("upright", "in", "in")
    assert best(told[0]).to_frame().shape[0] == 1


@pytest.mark.parametrize("line", ["upright", "level"])
def test_the_answer_says_which_end_leans_where(line: str) -> None:
    plate = plate_of(tilt=(5e-4, 0), dish=0.001, u=1e-6)
    one = best(plate, line=line, away_from_centre=(0.5, "in"))
    end = "upper end" if line == "upright" else "end beside the teeth that follow"
    text = str(one)
    top = one.worst.value
    assert f"{end} {'toward' if top > 0 else 'from'} the indicator" in text
    assert "toward the teeth that follow the uppermost" in one.where
    back = best(plate, line=line, away_from_centre=(-0.5, "in"))
    assert "toward the teeth before the uppermost" in back.where
    assert f"Stand tooth {one.best_tooth} uppermost" in text
