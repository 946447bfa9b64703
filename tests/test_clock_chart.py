"""The chart of clock positions: what it says, to scale, and that no words lie on each other."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pytest
from fits import check_fits
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse, FancyArrowPatch
from mounted_body import fit_of
from numpy.testing import assert_allclose
from scipy import stats
from simulated import rng_for

import bladegeom as bg
from bladegeom.arbor.arbor import separate_arbor
from bladegeom.arbor.clock import clock_advice, new_mounting
from bladegeom.draw.clock import Arrows, clock_chart

DAY = datetime.date(2026, 3, 1)
BLADE, FLANGE = 0.05 * np.exp(0.5j), 0.03 * np.exp(2j)
LONG = "The long name of a blade of the far north shed, resharpened twice"
LONG_MOUNTS = ["first of the morning", "b", "c", "after the long lunch break"]


def advice_of(clocks=(0, 180, 90, 0), *, seating=0.001, mounts=None, scale=1.0, **how):
    rng = rng_for(1)
    truth = BLADE + FLANGE * np.exp(-1j * np.radians(clocks))
    seated = truth + seating * (rng.normal(size=len(clocks)) + 1j * rng.normal(size=len(clocks)))
    fits = [fit_of(complex(one) * scale, bend=0.004 * scale, **how) for one in seated]
    return clock_advice(separate_arbor(fits, [*map(float, clocks)], mounts=mounts))


def texts(ax):
    return [text.get_text() for text in ax.figure.texts]


CASES = {
    "24 teeth": {},
    "80 teeth, long names": {"teeth": 80, "name": LONG, "mounts": LONG_MOUNTS},
    "no seating": {"clocks": (0, 180)},
    "not worth it": {"seating": 0.02},
    "one place often": {
        "clocks": (0, 0, 0, 0, 0, 180),
        "mounts": [f"mounting {n}" for n in "abcdef"],
    },
    "thou": {"scale": 1 / 0.0254, "unit": "thou", "numbered": "counterclockwise"},
    "tiny": {"scale": 0.01},
}


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("case", CASES.values(), ids=CASES.keys())
def test_no_words_lie_on_each_other_or_off_the_page(case, paper):
    check_fits(clock_chart(advice_of(**case), paper=paper, date=DAY), inside=True)


def test_the_page_says_what_to_do_what_it_gains_and_the_cautions():
    advice = advice_of(name="A-24")
    said = texts(clock_chart(advice, date=DAY))
    assert {"A-24", "2026-03-01", "clock position"} <= {*said}
    (headline,) = [one for one in said if one.startswith("Put tooth")]
    assert headline.startswith(f"Put tooth {advice.best_tooth} at the arbor's mark: wobble TIR 0.1")
    flat = " ".join(" ".join(said).split())
    assert "expanded uncertainty" in flat
    assert "blade alone 0." in flat
    assert "flange alone 0." in flat
    assert "The arbor's mark must turn with the inner flange" in flat
    assert all(caution in flat for caution in bg.CAUTIONS)


def test_a_page_that_recommends_nothing_does_not_look_as_if_it_did():
    for case in ({"seating": 0.03}, {"clocks": (0, 180)}):
        said = " ".join(texts(clock_chart(advice_of(**case), date=DAY)))
        assert "Put tooth" not in said
        assert "\u2192" not in said


def curve(ax, name):
    (line,) = [one for one in ax.get_lines() if one.get_label() == name]
    return line.get_xdata(), line.get_ydata()


def test_the_curve_is_the_wobble_over_the_turn_and_the_best_tooth_is_marked():
    advice = advice_of()
    ax = clock_chart(advice, date=DAY)
    turn, tir = curve(ax, "blade and flange together")
    arbor = advice.arbor
    vectors = arbor.blade_vector + arbor.flange_vector * np.exp(1j * np.radians(turn))
    assert_allclose(tir, 2 * np.abs(vectors))
    assert (turn[0], turn[-1]) == (0, 360)
    best = 15.0 * (advice.best_tooth - 1)
    assert any(np.all(np.asarray(line.get_xdata()) == best) for line in ax.get_lines())
    assert str(advice.best_tooth) in [text.get_text() for text in ax.texts]
    at, high = curve(ax, "95 %, one new seating included")
    assert np.interp(best, at, high) == pytest.approx(advice.best.high, rel=0.01)


def test_measured_mountings_stand_at_their_tooth_and_those_of_one_place_share_a_name():
    advice = advice_of((0, 180, 90, 0))
    ax = clock_chart(advice, date=DAY)
    turn, tir = curve(ax, "as measured")
    # Clock 90: tooth 1 stands 90 degrees past the mark, so tooth 19, at 270, is at the mark.
    assert_allclose(turn, [0, 180, 270])
    assert_allclose(tir, 2 * np.abs(advice.arbor.measured[:-1]))
    assert_allclose(curve(ax, "now"), [[0], [advice.now.value]])
    named = {text.get_text() for text in ax.texts}
    assert {"1, 4", "2", "3"} <= named


def test_mountings_whose_names_begin_alike_are_told_apart():
    mounts = ["after cleaning, once", "after cleaning, twice", "before the cleaning", "4"]
    ax = clock_chart(advice_of(mounts=mounts), date=DAY)
    named = {text.get_text() for text in ax.texts}
    assert {"mounting 1, 4", "mounting 2", "before the \u2026"} <= named


def test_without_a_seating_no_band_is_drawn():
    ax = clock_chart(advice_of((0, 180)), date=DAY)
    assert "95 %, one new seating included" not in [one.get_label() for one in ax.get_lines()]


def drawn(advice):
    drawing = Arrows(advice, Figure().add_axes((0, 0, 1, 1)))
    drawing.draw()
    lines = {line.get_label(): line.get_xydata() for line in drawing.ax.get_lines()}
    return drawing, lines


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
def test_arrows_are_to_scale_and_point_as_the_numbers_run(numbered):
    advice = advice_of(numbered=numbered)
    drawing, lines = drawn(advice)
    arbor, best = advice.arbor, advice.best_tooth
    turn = np.exp(1j * math.radians(15.0 * (best - 1)))
    wanted = {
        "blade alone": arbor.blade_vector,
        f"flange, tooth {best}": arbor.flange_vector * turn,
        "both, now (measured)": arbor.measured[-1],
        "flange, now": arbor.flange_vector * np.exp(-1j * math.radians(arbor.clock_deg[-1])),
    }
    # Tooth 1 is up; with teeth numbered clockwise a quarter turn on is to the right.
    right = 1 if numbered == "clockwise" else -1
    heads = [one for one in drawing.ax.patches if isinstance(one, FancyArrowPatch)]
    tips = [np.array(one._posA_posB[1]) for one in heads]
    long = 2 * abs(arbor.blade_vector)
    size = math.hypot(*drawing.at(long))
    for name, vector in wanted.items():
        tip = np.array([right * vector.imag, vector.real]) * 2 / long * size
        assert min(math.dist(tip, one) for one in tips) < 1e-9, name
        start, end = lines[name]
        assert_allclose(start, 0)
        # The line stops on the same ray, where its head begins.
        assert abs(end[0] * tip[1] - end[1] * tip[0]) < 1e-12
        assert 0 < end @ tip < tip @ tip


def test_a_sum_too_short_for_an_arrow_is_a_dot():
    flange = FLANGE / abs(FLANGE) * abs(BLADE)
    clocks = (0.0, 120.0, 240.0)
    vectors = BLADE + flange * np.exp(-1j * np.radians(clocks))
    fits = [fit_of(complex(one), teeth=360) for one in vectors]
    drawing, _ = drawn(clock_advice(separate_arbor(fits, clocks)))
    heads = [one for one in drawing.ax.patches if isinstance(one, FancyArrowPatch)]
    assert len(heads) == 4
    dots = [line for line in drawing.ax.get_lines() if line.get_marker() == "o"]
    assert_allclose(dots[0].get_xydata(), [np.array(drawing.at(drawing.best))])


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
def test_ellipses_are_the_95_percent_regions_of_the_tips(numbered):
    # Teeth left unread make the doubt longer one way than the other.
    advice = advice_of((0, 180, 90, 20), numbered=numbered, unread=range(3, 13), seating=0.0)
    drawing, _ = drawn(advice)
    own, left = (one for one in drawing.ax.patches if type(one) is Ellipse)
    arbor = advice.arbor
    round_it = np.exp(1j * np.linspace(0, 6, 13))
    factor = 2 * stats.f.ppf(0.95, 2, arbor.dof)
    for ellipse, vector in (
        (own, arbor.blade_wobble),
        (left, new_mounting(arbor, -15.0 * (advice.best_tooth - 1))),
    ):
        root = np.linalg.cholesky(vector.covariance * factor)
        edge = root @ np.stack([round_it.real, round_it.imag])
        points = drawing.at(2 * (vector.value + edge[0] + 1j * edge[1]))
        flat = ellipse.get_patch_transform().inverted().transform(np.stack(points, axis=1))
        assert_allclose(np.hypot(*flat.T), 1, rtol=1e-9)
    assert own.width > 1.1 * own.height


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_no_line_of_the_page_grows_out_of_its_margins_on_a_screen(paper):
    advice = advice_of(teeth=80, name="A-80", numbered="clockwise")
    for page in (
        clock_chart(advice, paper=paper, date=DAY).figure,
        bg.polar_chart(fit_of(0.05 + 0.02j), paper=paper, date=DAY).figure,
    ):
        for dpi in (60, 72, 100, 144):
            page.set_dpi(dpi)
            renderer = FigureCanvasAgg(page).get_renderer()
            most = page.bbox.width - 12.0 / 25.4 * dpi
            over = [
                text.get_text()
                for text in page.texts
                if text.get_window_extent(renderer).x1 > most + 0.5 / 25.4 * dpi
            ]
            assert not over
