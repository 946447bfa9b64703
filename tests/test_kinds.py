"""Objects of the wrong kind are refused in a sentence that says what makes the right ones."""

from __future__ import annotations

import inspect

import numpy as np
import pandas as pd
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
    (bg.check_readings, (3,), "read_blade"),
    (bg.fit_plate, (READINGS,), "read_rings"),
    (bg.fit_plate, ([READINGS],), "read_rings"),
    (bg.save_chart, (3, "out.pdf"), "polar_chart"),
    (bg.trend, (READINGS,), "visit"),
    (bg.record, ([3], "history"), "visit"),
    (bg.shelf, (3,), "path"),
    (bg.neutral_line_by_eye, (40, 7), "Blade"),
    (bg.squareness_error, (FIT, "far"), "numbers"),
    (bg.Ring, (3,), "read_blade"),
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


ODD = [None, 3, 2.5, "words", b"bytes", [1, "a"], {}, object(), FIT, READINGS]
ODD += [bg.neutral_line(FIT), pd.DataFrame({"a": [1]}), print]
WITHOUT = {"Estimate", "BladegeomWarning", "RefusedError"}
"""What is made here for those who use it, or takes anything."""


def called():
    """Every public function, and what people make themselves: name -> it."""
    made = {"Blade", "Readings", "Limit", "Limits", "Ring", "Comparison"}
    for name in sorted(set(bg.__all__) - WITHOUT):
        one = getattr(bg, name)
        if inspect.isfunction(one) or name in made:
            yield pytest.param(one, id=name)


@pytest.mark.parametrize("function", [*called()])
@pytest.mark.filterwarnings("ignore")
def test_no_public_function_fails_on_an_object_of_any_kind(function, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    wanted = [
        one
        for one in inspect.signature(function).parameters.values()
        if one.kind not in (one.VAR_KEYWORD, one.VAR_POSITIONAL)
    ]
    needed = [one for one in wanted if one.default is one.empty] or wanted[:1]
    refused = []
    for odd in ODD:
        named = {one.name: odd for one in needed if one.kind is one.KEYWORD_ONLY}
        placed = [odd for one in needed if one.kind is not one.KEYWORD_ONLY]
        try:
            function(*placed, **named)
        except bg.RefusedError as error:
            refused.append(error)
    assert len(refused) >= len(ODD) - 4  # What it takes is among them.
    assert all(fault.problem and fault.cure for error in refused for fault in error.faults)


def test_a_number_of_any_make_is_a_number_and_yes_is_none():
    for away in (30, 30.0, np.float32(30), np.int8(30), [30.0], np.array([30, 40])):
        assert np.all(np.asarray(bg.squareness_error(FIT, away)) != 0)
    assert bg.squareness(FIT, away_deg=np.float64(30)).error.value != 0
    for wrong in (True, "30", [30]):
        with pytest.raises(bg.RefusedError):
            bg.squareness(FIT, away_deg=wrong)


def test_what_can_be_gone_through_only_once_still_reaches_the_function(tmp_path):
    assert len(bg.record((bg.visit(one) for one in [FIT]), tmp_path)) == 1
