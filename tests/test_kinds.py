"""Objects of the wrong kind are refused in a sentence that says what makes the right ones."""

from __future__ import annotations

import pytest

import bladegeom as bg
from bladegeom.kinds import MADE_BY

READINGS = bg.read_blade("data_demo/forty_tooth.csv")
FIT = bg.fit_wobble(READINGS)

WRONG = [
    (bg.fit_wobble, ("data_demo/forty_tooth.csv",), "read_blade"),
    (bg.fit_wobble, ([READINGS],), "read_blade"),
    (bg.neutral_line, (READINGS,), "fit_wobble"),
    (bg.neutral_line, (33,), "fit_wobble"),
    (bg.squareness_error, (READINGS, 30), "fit_wobble"),
    (bg.polar_chart, (READINGS,), "fit_wobble"),
    (bg.strip_chart, ("forty_tooth",), "fit_wobble"),
    (bg.customer_sheet, (FIT, "limits.toml"), "assess"),
    (bg.assess, (FIT, "limits.toml"), "read_limits"),
    (bg.change, (FIT, READINGS), "fit_wobble"),
    (bg.fit_table, (READINGS,), "read_table"),
    (bg.setup_card, ("shed_saw.toml",), "set_up"),
    (bg.clearance_chart, (FIT,), "Blade"),
    (bg.cut_wall_chart, (FIT,), "cut_wall"),
]


@pytest.mark.parametrize(("function", "given", "cure"), WRONG)
def test_an_object_of_another_kind_is_refused_with_what_makes_the_right_one(function, given, cure):
    with pytest.raises(bg.RefusedError) as refused:
        function(*given)
    (fault,) = refused.value.faults
    assert function.__name__ in fault.problem
    assert type(given[-1] if len(given) > 1 and given[0] is FIT else given[0]).__name__ in (
        fault.problem
    )
    assert cure in fault.cure


def test_by_name_too_and_nothing_where_nothing_need_be():
    with pytest.raises(bg.RefusedError, match="read_limits"):
        bg.assess(fit=FIT, limits=3)
    assert bg.customer_sheet(FIT, None).figure is not None


def test_what_a_cure_calls_is_there():
    for cure in MADE_BY.values():
        called = cure.split(": ")[1].split("(")[0]
        assert callable(getattr(bg, called)), cure


def test_a_subclass_will_do():
    class Mine(bg.Readings):
        pass

    mine = Mine(bg.Blade(8), [1, 2, 3, 4, 5, 4, 3, 2], unit="thou")
    assert bg.fit_wobble(mine).teeth == 8
