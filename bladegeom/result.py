"""One description of a result: as text, as an HTML table, as a frame, as plain values."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

if TYPE_CHECKING:
    import pandas as pd


class Row(NamedTuple):
    """One line of a result.

    Attributes
    ----------
    key : str
        Its name in `to_dict` and in frames; empty for what only people read.
    value : bool, int, float, str, list or None
        Its value in full precision; None where it is not established.
    label : str
        Its name for people; empty for what only machines read.
    text : str
        Its value for people, rounded, with its unit.
    """

    key: str
    value: Any
    label: str = ""
    text: str = ""


class Result:
    """Shows itself: what a subclass describes in `_rows` is printed, tabulated and exported."""

    def _title(self) -> str:
        raise NotImplementedError

    def _rows(self) -> Sequence[Row]:
        raise NotImplementedError

    def _first(self) -> Sequence[str]:
        """Return what must be known before any of it is followed: told above all else."""
        return ()

    def _remarks(self) -> Sequence[str]:
        return ()

    def to_dict(self) -> dict[str, Any]:
        """Return every value under its key, in plain Python types; None for not established."""
        return {row.key: _plain(row.value) for row in self._rows() if row.key}

    def to_frame(self) -> pd.DataFrame:
        """Return a frame of one row; pairs become two columns, ``..._1`` and ``..._2``."""
        import pandas as pd

        columns: dict[str, Any] = {}
        for key, value in self.to_dict().items():
            columns |= in_columns(key, value)
        return pd.DataFrame({key: [value] for key, value in columns.items()})

    def shown_rows(self) -> list[tuple[str, str]]:
        """Return what is for people: label and text of each row."""
        return [(row.label, row.text) for row in self._rows() if row.label]

    def __str__(self) -> str:
        shown = self.shown_rows()
        width = max((len(label) for label, _ in shown), default=0)
        lines = [self._title(), *(f"  ! {one}" for one in self._first())]
        lines += [f"  {label:<{width}}  {text}" for label, text in shown]
        return "\n".join([*lines, *(f"  ! {remark}" for remark in self._remarks())])

    def __repr__(self) -> str:
        return str(self)

    def _repr_html_(self) -> str:
        import html  # Its table of letters is long; only notebooks wait for it.

        body = "".join(
            f"<tr><th style='text-align:left'>{html.escape(label)}</th>"
            f"<td style='text-align:left'>{html.escape(text)}</td></tr>"
            for label, text in self.shown_rows()
        )
        remarks = "".join(f"<li>{html.escape(remark)}</li>" for remark in self._remarks())
        heading = html.escape("\n".join([self._title(), *self._first()])).replace("\n", "<br>")
        title = f"<caption style='text-align:left'>{heading}</caption>"
        return f"<table>{title}{body}</table>" + (f"<ul>{remarks}</ul>" if remarks else "")


_PAIRS = {
    "neutral_teeth": "neutral_tooth",
    "neutral_deg": "neutral_deg",
    "neutral_probability": "neutral_probability",
    "neutral_past_deg": "neutral_past_deg",
    "neutral_past_pitch": "neutral_past_pitch",
    "neutral_past_mm": "neutral_past_mm",
}
"""Keys that hold two values, one for each end of the neutral line -> their name in frames."""


def in_columns(key: str, value: Any) -> dict[str, Any]:
    """Return a value as columns of a frame: a pair as two, a list of texts as one text."""
    if key == "warnings":
        return {key: "; ".join(value)}
    if key in _PAIRS:
        first, second = value or (None, None)
        return {f"{_PAIRS[key]}_1": first, f"{_PAIRS[key]}_2": second}
    return {key: value}


def decimals_for(doubt: float | None, value: float = 0.0) -> int:
    """Return how many decimals to print: two digits of the doubt (GUM 7.2.6), else four in all."""
    size = doubt if doubt is not None and math.isfinite(doubt) and doubt > 0 else None
    if size is not None:
        return min(9, max(0, 1 - _exponent(size, 2)))
    if value == 0 or not math.isfinite(value):
        return 1
    return min(9, max(0, 3 - _exponent(value, 4)))


def _exponent(value: float, digits: int) -> int:
    """Return the power of ten of a number once it is rounded: 0.0996 to two digits is 0.10."""
    return int(f"{value:.{digits - 1}e}".partition("e")[2])


def number(value: float, doubt: float | None = None) -> str:
    """Return a value rounded to two digits of its doubt, never as minus zero."""
    text = f"{value:.{decimals_for(doubt, value)}f}"
    return text.lstrip("-") if float(text) == 0 else text


def grain(value: float) -> str:
    """Return a difference of readings without the dust of binary arithmetic."""
    return f"{round(value, 9):g}"


def between(low: float, high: float, doubt: float | None) -> str:
    """Return limits as text."""
    return f"{number(low, doubt)} to {number(high, doubt)}"


def percent(probability: float) -> str:
    """Return a probability for people; certainty is never claimed."""
    if probability > 0.99:
        return "over 99 %"
    if probability < 0.01:
        return "under 1 %"
    return f"{100 * probability:.0f} %"


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    if hasattr(value, "item"):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
