"""One description of a result as text, HTML, frame and plain values; numbers as printed."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from bladegeom.estimate import Estimate, Known
from bladegeom.result import (
    DOUBTED,
    Result,
    Row,
    between,
    decimals_for,
    derived,
    described,
    in_columns,
    number,
    percent,
    quantity,
)


class Invented(Result):
    def _title(self) -> str:
        return "Blade <A&B>\n  second line"

    def _rows(self, **_: object) -> Sequence[Row]:
        return [
            Row("blade", "007"),
            Row("teeth", np.int64(40)),
            Row("amplitude", np.float64(0.25), "amplitude", "0.25 mm"),
            Row("unknown", math.nan, "not known", "-"),
            Row("endless", math.inf),
            Row("none", None),
            Row("", None, "only for people", "a < b"),
            Row("neutral_teeth", (np.int64(8), 28)),
            Row("neutral_probability", [0.9, math.nan]),
            Row("warnings", ["one", "two"]),
        ]

    def _remarks(self) -> Sequence[str]:
        return ("mind the <gap>",)


class Quiet(Result):
    def _title(self) -> str:
        return "nothing"

    def _rows(self, **_: object) -> Sequence[Row]:
        return []


@described
class Part(Result):
    size: float = quantity("how large", label="size")
    unit: str = quantity("of the size")

    def _title(self) -> str:
        return "part"


@described
class Whole(Result):
    first: Part = quantity("one part", key="left", inline=True)
    unit: str = quantity("of all lengths")
    others: Part = quantity("the rest", inline=True)

    @derived("what it means", key="", label="meaning", text=lambda _: [("what", "a"), ("and", "b")])
    def meaning(self) -> None: ...

    def _title(self) -> str:
        return "whole"


def test_a_result_in_a_result_stands_in_its_place_but_for_what_the_outer_one_has() -> None:
    whole = Whole(first=Part(size=1, unit="mm"), unit="in", others=Part(size=2, unit="um"))
    assert whole.to_dict() == {"left_size": 1, "left_unit": "mm", "unit": "in", "size": 2}
    assert [whole.left_size, whole.left_unit, whole.unit, whole.size] == [1, "mm", "in", 2]
    with pytest.raises(AttributeError, match="Whole has no right_size"):
        _ = whole.right_size
    assert str(whole) == "whole\n  size  1\n  size  2\n  what  a\n  and   b"


@described
class Doubted(Result):
    """Two estimates."""

    lean: Estimate | None = quantity("how far it leans", label="lean", unit="deg")
    rise: Known = quantity("how far it rises", parts=("", "_high"))

    @derived("the lean the other way", key="back", unit="deg")
    def other(self) -> Estimate | None:
        return None if self.lean is None else self.lean.times(-1.0)

    @property
    def remarks(self) -> tuple[str, ...]:
        return ("mind the gap",)

    def _title(self) -> str:
        return "doubted"


def test_an_estimate_has_the_keys_of_its_type_known_or_not() -> None:
    known = Doubted(lean=Estimate(1.0, 0.5), rise=Known(3.0, high=4.0))
    unknown = Doubted(lean=None, rise=Known(3.0))
    keys = [f"{stem}{part}_deg" for stem in ("lean", "back") for part in DOUBTED]
    assert list(known.to_dict()) == [*keys[:4], "rise", "rise_high", *keys[4:]]
    assert known.to_dict()["back_u_deg"] == 0.5
    assert known.lean_high_deg == -known.back_low_deg
    assert unknown.to_dict().keys() == known.to_dict().keys()
    assert [unknown.to_dict()[key] for key in keys] == [None] * 8
    assert (known.rise_high, unknown.to_dict()["rise_high"]) == (4.0, None)


def test_remarks_are_shown_below_and_every_quantity_stands_in_the_docstring() -> None:
    shown = str(Doubted(lean=Estimate(1.0, 0.5), rise=Known(3.0)))
    assert shown == "doubted\n  lean  1.00 deg (95 %: 0.02 to 1.98)\n  ! mind the gap"
    told = Doubted.__doc__ or ""
    assert "lean : Estimate | None\n        How far it leans." in told
    assert "other : Estimate | None\n        The lean the other way." in told


def test_dict_holds_plain_values_and_none_for_what_is_not_known() -> None:
    values = Invented().to_dict()
    assert values == {
        "blade": "007",
        "teeth": 40,
        "amplitude": 0.25,
        "unknown": None,
        "endless": None,
        "none": None,
        "neutral_teeth": [8, 28],
        "neutral_probability": [0.9, None],
        "warnings": ["one", "two"],
    }
    assert type(values["teeth"]) is int
    assert type(values["amplitude"]) is float
    assert type(values["neutral_teeth"][0]) is int


def test_frame_is_one_row_with_pairs_as_two_columns() -> None:
    frame = Invented().to_frame()
    assert list(frame.columns) == [
        "blade",
        "teeth",
        "amplitude",
        "unknown",
        "endless",
        "none",
        "neutral_tooth_1",
        "neutral_tooth_2",
        "neutral_probability_1",
        "neutral_probability_2",
        "warnings",
    ]
    assert len(frame) == 1
    assert frame.loc[0, "blade"] == "007"
    assert frame.loc[0, "neutral_tooth_1"] == 8
    assert frame.loc[0, "neutral_tooth_2"] == 28
    assert frame.loc[0, "warnings"] == "one; two"


def test_text_lines_up_labels_and_ends_with_remarks() -> None:
    assert str(Invented()) == (
        "Blade <A&B>\n"
        "  second line\n"
        "  amplitude        0.25 mm\n"
        "  not known        -\n"
        "  only for people  a < b\n"
        "  ! mind the <gap>"
    )
    assert str(Quiet()) == "nothing"


def test_html_escapes_what_it_shows() -> None:
    page = Invented()._repr_html_()
    assert "Blade &lt;A&amp;B&gt;<br>  second line" in page
    assert ">a &lt; b</td>" in page
    assert "<li>mind the &lt;gap&gt;</li>" in page
    assert "007" not in page
    assert "<ul>" not in Quiet()._repr_html_()


def test_a_pair_that_is_not_established_still_has_its_two_columns() -> None:
    assert in_columns("neutral_deg", None) == {"neutral_deg_1": None, "neutral_deg_2": None}
    assert in_columns("near_deg", None) == {"near_deg": None}
    assert in_columns("warnings", []) == {"warnings": ""}


@pytest.mark.parametrize(
    ("value", "doubt", "text"),
    [
        # Two digits of the doubt, GUM (JCGM 100:2008) 7.2.6.
        (1.23456, 0.012, "1.235"),
        (1.23456, 0.0999, "1.23"),
        (1.23456, 0.0994, "1.235"),
        (1.23456, 0.00996, "1.235"),
        (123.456, 3.21, "123.5"),
        (123.456, 9.96, "123"),
        (123.456, 47.0, "123"),
        (0.1, 1e-15, "0.100000000"),
        # Never minus zero.
        (-0.0004, 0.01, "0.000"),
        (-0.0006, 0.01, "-0.001"),
        (-0.0, None, "0.0"),
        # Without a doubt, four digits in all.
        (0.029, None, "0.02900"),
        (12.3456, None, "12.35"),
        (9.99996, None, "10.00"),
        (1234.5, None, "1234"),
        (98765.4, None, "98765"),
        (0.0, None, "0.0"),
        (0.5, 0.0, "0.5000"),
        (0.5, math.inf, "0.5000"),
        (0.5, math.nan, "0.5000"),
    ],
)
def test_numbers_are_printed_to_two_digits_of_their_doubt(
    value: float, doubt: float | None, text: str
) -> None:
    assert number(value, doubt) == text


def test_decimals_stay_between_none_and_nine() -> None:
    assert decimals_for(1e-300) == 9
    assert decimals_for(1e300) == 0
    assert decimals_for(None, 1e-300) == 9
    assert decimals_for(None, math.inf) == 1


def test_limits_share_their_decimals() -> None:
    assert between(1.23456, 1.3, 0.012) == "1.235 to 1.300"


@pytest.mark.parametrize(
    ("probability", "text"),
    [
        (1.0, "over 99 %"),
        (0.9901, "over 99 %"),
        (0.99, "99 %"),
        (0.984, "98 %"),
        (0.5, "50 %"),
        (0.01, "1 %"),
        (0.0099, "under 1 %"),
        (0.0, "under 1 %"),
    ],
)
def test_certainty_is_never_claimed(probability: float, text: str) -> None:
    assert percent(probability) == text
