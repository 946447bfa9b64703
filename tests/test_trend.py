"""Trends: a weighted line through what can be compared, and its limits."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from published import reference_columns
from simulated import rng_for
from test_history import a_visit

import bladegeom as bg
from bladegeom.shop.trend import Point, line_through

START = date(2020, 1, 1)


def visits_of(values, u=None, days=None, **kept):
    """Visits whose wobble TIR (mm) and its standard uncertainty are these."""
    model = a_visit(**kept)
    days = days or [START + timedelta(days=200 * step) for step in range(len(values))]
    u = np.full(len(values), 0.002) if u is None else u
    return [
        replace(
            model,
            date=day,
            cosine_mm=value / 2,
            sine_mm=0.0,
            rounding_mm=0.0,
            variance_cosine_mm2=(one / 2) ** 2,
            variance_sine_mm2=(one / 2) ** 2,
            covariance_mm2=0.0,
            diameter_mm=250.0 - value,
            digest=str(place),
        )
        for place, (value, one, day) in enumerate(zip(values, u, days, strict=True))
    ]


def test_the_line_is_that_of_statsmodels_weighted_least_squares():
    import statsmodels.api as sm

    rng = rng_for(4)
    u = rng.uniform(0.001, 0.01, 9)
    days = [START + timedelta(days=int(day)) for day in np.sort(rng.integers(0, 2500, 9))]
    values = 0.1 + 0.01 * np.arange(9) + rng.normal(0, 4 * u)
    trend = bg.trend(visits_of(values, u, days))
    years = np.array([(day - START).days for day in days]) / 365.2425
    fitted = sm.WLS(values, sm.add_constant(years), weights=1 / u**2).fit()
    assert trend.per_year.value == pytest.approx(fitted.params[1], rel=1e-9)
    assert trend.per_year.u == pytest.approx(fitted.bse[1], rel=1e-9)
    assert [trend.per_year.low, trend.per_year.high] == pytest.approx(
        fitted.conf_int()[1], rel=1e-6
    )
    assert trend.excess == pytest.approx(np.sqrt(fitted.scale), rel=1e-9)
    there = fitted.get_prediction([[1.0, years[3]]])
    assert trend.at(days[3]).value == pytest.approx(there.predicted_mean[0], rel=1e-9)
    assert trend.at(days[3]).u == pytest.approx(there.se_mean[0], rel=1e-9)


def test_norris_is_met():
    """NIST StRD, Norris: certified slope, intercept and residual standard deviation."""
    y, x = reference_columns("norris.csv")
    points = [Point(a_visit(), value, np.nan, "") for value in y]
    slope, middle, height, _ = line_through(points, x * 365.2425)
    assert slope.value == pytest.approx(1.00211681802045, rel=1e-11)
    assert height.value - slope.value * middle / 365.2425 == pytest.approx(
        -0.262323073774029, rel=1e-9
    )
    sd = height.u * np.sqrt(len(x))
    assert sd == pytest.approx(0.884796396144373, rel=1e-10)


@pytest.mark.parametrize("quantity", ["wobble_tir", "diameter"])
def test_no_trend_is_seldom_shown_and_a_trend_is_held(quantity):
    rng = rng_for(6)
    shown, held, cases, slope = 0, 0, 200, 0.01
    for _ in range(cases):
        noise = rng.normal(0, 0.004, 5)
        flat = bg.trend(visits_of(0.2 + noise, np.full(5, 0.004)), quantity)
        shown += flat.verdict != "no change shown"
        years = 200 * np.arange(5) / 365.2425
        moving = bg.trend(visits_of(0.2 + slope * years + noise, np.full(5, 0.004)), quantity)
        truth = -slope if quantity == "diameter" else slope
        held += moving.per_year.low <= truth <= moving.per_year.high
    assert shown <= 19  # 5 % of 200 and three standard deviations; Birge's ratio keeps below.
    assert held >= 181


def test_a_seat_that_scatters_widens_the_limits_and_is_said():
    rng = rng_for(8)
    shown = 0
    for _ in range(200):
        trend = bg.trend(visits_of(0.2 + rng.normal(0, 0.02, 6), np.full(6, 0.001)))
        shown += trend.verdict != "no change shown"
    assert shown <= 22
    assert trend.excess > 2
    assert "seats differently each time" in str(trend)


def test_growing_and_shrinking_are_named():
    assert bg.trend(visits_of([0.10, 0.12, 0.141, 0.159])).verdict == "growing"
    assert bg.trend(visits_of([0.10, 0.12, 0.141, 0.159]), "diameter").verdict == "shrinking"


def test_what_differs_is_set_apart_with_its_reason():
    visits = visits_of([0.1, 0.11, 0.12, 0.13, 0.14, 0.15, 0.16, 0.17, 0.18])
    visits[0] = replace(visits[0], ring_radius_mm=90.0)
    visits[1] = replace(visits[1], surface="teeth")
    visits[2] = replace(visits[2], arbor="other")
    visits[3] = replace(visits[3], read=12)
    visits[4] = replace(visits[4], side="left")
    trend = bg.trend(visits)
    reasons = [one.apart for one in trend.apart]
    for reason, words in zip(
        reasons,
        [
            "ring radius is 90 mm, not 110",
            "on the teeth",
            "arbor is other",
            "12 teeth in",
            "side is",
        ],
        strict=True,
    ):
        assert words in reason
        assert words in str(trend)
    assert len(trend.compared) == 4
    plain = bg.trend(visits[5:])
    assert trend.per_year == plain.per_year


@pytest.mark.parametrize("arbor", ["B1", "b 1", "b-1", "b1."])
def test_measurements_apart_only_by_the_spelling_of_their_arbor_are_told(arbor):
    visits = [replace(one, arbor="b1") for one in visits_of([0.1, 0.11, 0.12, 0.13, 0.14, 0.15])]
    whole = bg.trend(visits)
    visits[0] = replace(visits[0], arbor=arbor)
    visits[1] = replace(visits[1], arbor=arbor, side="left")
    visits[2] = replace(visits[2], arbor="b2")
    trend = bg.trend(visits)
    assert [one.spelt for one in trend.points] == [True, False, False, False, False, False]
    assert [bool(one.apart) for one in trend.points] == [True] * 3 + [False] * 3
    assert arbor in trend.points[0].apart
    assert len(trend.warnings) == len(whole.warnings) + 1
    assert not any(one.spelt for one in bg.trend(visits, "diameter").points)


def test_the_line_begins_anew_after_a_service():
    visits = visits_of([0.30, 0.31, 0.32, 0.05, 0.06, 0.07])
    visits[3] = replace(visits[3], service="after")
    trend = bg.trend(visits)
    assert [one.value for one in trend.compared] == pytest.approx([0.05, 0.06, 0.07])
    assert {one.apart for one in trend.apart} == {
        f"the blade was serviced by {visits[3].date.isoformat()}"
    }
    assert len(bg.trend(visits, "diameter").compared) == 6


def test_too_few_measurements_give_no_line():
    for visits in (visits_of([0.1, 0.2]), visits_of([0.1, 0.2, 0.3], days=[START] * 3)):
        trend = bg.trend(visits)
        assert trend.verdict == "too few measurements"
        assert trend.per_year is None
        assert trend.at(START) is None
        assert "A trend takes 3" in str(trend)
    keys = [*bg.trend(visits_of([0.1, 0.2])).to_dict()]
    assert keys == [*bg.trend(visits_of([0.1, 0.2, 0.3, 0.1])).to_dict()]


def test_bends_have_their_trend():
    visits = [a_visit(day=START + timedelta(days=100 * n), seed=n) for n in range(4)]
    trend = bg.trend(visits, "two_wave_tir")
    assert trend.verdict == "no change shown"
    assert len(trend.compared) == 4


def test_units_follow_the_latest_measurement():
    visits = [replace(one, unit="thou") for one in visits_of([0.1, 0.12, 0.14])]
    trend = bg.trend(visits)
    assert (trend.unit, bg.trend(visits, "diameter").unit) == ("thou", "in")
    assert trend.points[0].value == pytest.approx(0.1 / 0.0254)


def test_what_has_no_trend_is_refused():
    visits = visits_of([0.1, 0.12, 0.14])
    with pytest.raises(bg.RefusedError, match="ask for one of wobble_tir"):
        bg.trend(visits, "colour")
    with pytest.raises(bg.RefusedError, match="2 blades"):
        bg.trend([visits[0], replace(visits[1], blade="other")])
    with pytest.raises(bg.RefusedError, match="no measurement has a tooth width"):
        bg.trend([replace(one, tooth_width_mm=None) for one in visits], "tooth_width")
    with pytest.raises(bg.RefusedError, match="no measurement has"):
        bg.trend([])
