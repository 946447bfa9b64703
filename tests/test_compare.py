"""Test cuts against predictions: Student's t, chi-square, verdict and hints."""

from __future__ import annotations

import json
import math

import GTC
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from bladegeom.estimate import Estimate
from bladegeom.faults import RefusedError
from bladegeom.saw.compare import Comparison, compare_test_cut

KERF = Comparison("width of the kerf", Estimate(3.31, 0.02), Estimate(3.30, 0.01), "mm")


def square(predicted: float, measured: float, u: float = 0.01) -> Comparison:
    return Comparison("square of the cut", Estimate(predicted, u), Estimate(measured, u, 8), "deg")


@given(
    st.floats(-3, 3),
    st.floats(1e-3, 1e3),
    st.floats(1e-3, 1e3),
    st.integers(2, 200),
    st.floats(1, 200),
)
def test_a_difference_is_that_of_gtc_and_its_chance_is_students(off, u1, u2, dof1, dof2):
    one = Comparison("x", Estimate(1.0, u1, dof1), Estimate(1.0 + off, u2, dof2), "mm")
    gtc = GTC.ureal(1.0 + off, u2, dof2) - GTC.ureal(1.0, u1, dof1)
    assert one.difference.u == pytest.approx(gtc.u)
    assert one.difference.dof == pytest.approx(gtc.df, rel=1e-9)
    p = 2 * stats.t.sf(abs(gtc.x / gtc.u), gtc.df)
    assert one.p_value == pytest.approx(p, rel=1e-6)
    assert 2 * stats.norm.sf(abs(one.z)) == pytest.approx(p, rel=1e-6)
    if p < 1 - 1e-12:  # Of less than that no deviate is left.
        assert np.sign(one.z) == np.sign(one.difference.value)


def test_chi_square_from_a_table():
    # Chi-square tables (from memory): 5 % is exceeded by 3.841, 5.991 and 7.815 for 1, 2 and 3.
    for count, limit in ((1, 3.841), (2, 5.991), (3, 7.815)):
        each = math.sqrt(limit / count)
        checks = [Comparison("x", Estimate(0, 0.6), Estimate(each, 0.8), "mm")] * count
        result = compare_test_cut(checks)
        assert result.chi_square == pytest.approx(limit)
        assert result.dof == count
        assert result.p_value == pytest.approx(0.05, abs=2e-5)


@pytest.mark.parametrize(("size", "agree"), [(0.99, "yes"), (1.01, "no")])
def test_they_agree_up_to_one_in_twenty(size, agree):
    t = stats.t.ppf(0.975, 5) * size
    one = Comparison("x", Estimate(0, 0.0), Estimate(t, 1.0, 5), "mm")
    assert compare_test_cut([one]).agree == agree


def test_of_many_true_predictions_one_in_twenty_is_called_wrong():
    # Few repeats on purpose: without the t the share would be far above 5 %.
    rng = np.random.default_rng(5)
    wrong = 0
    for _ in range(2000):
        checks = []
        for _ in range(3):
            read = rng.normal(0, 1, 4)
            u = float(read.std(ddof=1)) / 2
            checks.append(Comparison("x", Estimate(0, 0.0), Estimate(read.mean(), u, 3), "mm"))
        wrong += compare_test_cut(checks).agree == "no"
    # Three standard deviations of the count.
    assert wrong == pytest.approx(100, abs=30)


def test_a_sign_is_suspected_where_turning_it_would_mend_it():
    result = compare_test_cut([KERF, square(0.10, -0.09)])
    assert result.agree == "no"
    assert result.hints == ("a sign: square of the cut would agree with the sign turned",)


def test_dish_or_the_square_is_suspected_where_the_width_agrees():
    result = compare_test_cut([KERF, square(0.01, 0.20)])
    assert result.agree == "no"
    assert len(result.hints) == 1
    assert result.hints[0].startswith(
        "dish, the square, or another tooth than the marked one: square of the cut disagrees"
    )
    alone = compare_test_cut([square(0.01, 0.20)])
    assert (alone.agree, alone.hints) == ("no", ())


def test_an_agreement_carries_no_hints():
    result = compare_test_cut([KERF, square(0.02, 0.03)])
    assert (result.agree, result.hints, result.dof) == ("yes", (), 2)
    assert result.lines == (
        "width of the kerf: predicted 3.310, measured 3.300, difference -0.010 mm "
        "(95 %: -0.054 to 0.034)",
        "square of the cut: predicted 0.020, measured 0.030, difference 0.010 deg "
        "(95 %: -0.019 to 0.039)",
        "predicted and measured: agree (chi-square 0.68 for 2 checks, p = 0.71).",
    )


def test_an_unknown_doubt_cannot_be_told():
    blind = Comparison("corner", Estimate(0.1, 0.01), Estimate(5.0, math.nan), "deg")
    result = compare_test_cut([KERF, blind])
    assert (result.agree, result.dof) == ("cannot tell", 1)
    assert result.hints[0].startswith("corner: its doubt is not known")
    only = compare_test_cut([blind])
    assert (only.agree, only.dof) == ("cannot tell", 0)
    assert only.to_dict()["p_value"] is None
    assert "doubt not known" in str(only)
    # What is known and wrong is not excused by what is not.
    assert compare_test_cut([square(0.1, 0.5), blind]).agree == "no"


def test_plain_values_are_the_same_keys_always():
    one = compare_test_cut([KERF]).to_dict()
    assert list(one) == ["verdict", "chi_square", "dof", "p_value", "checks"]
    assert one["checks"][0]["difference"] == pytest.approx(-0.01)
    assert one["checks"][0]["difference_dof"] is None
    assert json.loads(json.dumps(one, allow_nan=False)) == one
    shown = str(compare_test_cut([KERF, square(0.1, -0.1)]))
    assert "do not agree: look for dish, the square, or a sign" in shown
    assert "! a sign: square of the cut" in shown


def test_a_tail_beyond_the_smallest_number_is_still_wrong():
    far = Comparison("x", Estimate(0, 1.0, 1e7), Estimate(1e3, 1.0, 1e7), "mm")
    result = compare_test_cut([far])
    assert math.isfinite(result.chi_square)
    assert (result.p_value, result.agree) == (0.0, "no")


@pytest.mark.parametrize(
    ("checks", "said"),
    [
        ([], "no test cut"),
        ([Comparison("x", Estimate(math.nan, 0.1), Estimate(1, 0.1), "mm")], "predicted value"),
        ([Comparison("x", Estimate(1, 0.1), Estimate(math.inf, 0.1), "mm")], "measured value"),
        ([Comparison("x", Estimate(1, -0.1), Estimate(1, 0.1), "mm")], "-0.1"),
        ([Comparison("x", Estimate(1, 0.1, 0), Estimate(1, 0.1), "mm")], "0 degrees of freedom"),
        ([Comparison("x", Estimate(1, 0.0), Estimate(1, 0.0), "mm")], "any doubt"),
    ],
)
def test_what_cannot_be_compared_is_refused(checks, said):
    with pytest.raises(RefusedError, match=said):
        compare_test_cut(checks)
