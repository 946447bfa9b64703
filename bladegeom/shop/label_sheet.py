"""The shop's sheets of labels: how many labels, and where they lie on the paper."""

from __future__ import annotations

from dataclasses import dataclass

from bladegeom.faults import refuse
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, Length, plain_number, with_unit
from bladegeom.tables import toml

_MOST, _WIDEST_MM, _LEAST_MM = 40, 300.0, (20.0, 12.0)
"""Rows or columns of a sheet; a margin; the width and height of the least label to be read."""

_OTHER = {"bottom": "top", "right": "left"}
"""Margin -> that which it is like, if it is not given."""

PART = toml.Part(
    {"rows": toml.whole, "columns": toml.whole, "first": toml.whole}
    | dict.fromkeys(["top", "left", "bottom", "right", "gap_across", "gap_down"], toml.length),
    needed=("rows", "columns", "top", "left"),
)
"""As it stands in the file of the shop's limits."""


@checked
@dataclass(frozen=True)
class LabelSheet:
    """A sheet of labels.

    Attributes
    ----------
    rows, columns : int
        How many labels there are down the sheet, and across it.
    top, left : str or (float, str)
        Margins, from the edge of the paper to the first label.
    bottom, right : str or (float, str), optional
        The other margins; as `top` and `left` if not given.
    gap_across, gap_down : str or (float, str)
        Between two labels beside each other, and between two below each other.
    first : int
        Where to begin on a sheet that was used in part, counted row by row.
    """

    rows: int
    columns: int
    top: Length
    left: Length
    bottom: Length | None = None
    right: Length | None = None
    gap_across: Length = "0 mm"
    gap_down: Length = "0 mm"
    first: int = 1

    def __post_init__(self) -> None:
        for name in ("rows", "columns"):
            many = getattr(self, name)
            if many not in range(1, _MOST + 1):
                cure = f"give how many labels there are, 1 to {_MOST}"
                raise refuse(f"{name} is {many}", cure, value=many, column=name)
        if self.first not in range(1, self.rows * self.columns + 1):
            raise refuse(
                f"the first label is {self.first}, of {self.rows * self.columns} on a sheet",
                "count them row by row",
                value=self.first,
                column="first",
            )
        for name in ("top", "left", "bottom", "right", "gap_across", "gap_down"):
            self._mm(name)

    def _mm(self, name: str) -> float:
        given = getattr(self, name)
        if given is None and name in _OTHER:
            return self._mm(_OTHER[name])
        value, unit = with_unit(name, given)
        number = plain_number(value)
        if number is None or not 0 <= number < _WIDEST_MM / MM_PER[unit]:
            cure = "give it as measured on the sheet of labels, 0 mm for none"
            raise refuse(f"{name} is {value} {unit}", cure, value=value, column=name)
        return number * MM_PER[unit]

    def places(self, width: float, height: float) -> list[tuple[float, float, float, float]]:
        """Return the labels of a paper, all in millimetres, row by row.

        Each is left edge, upper edge, width and height.

        Raises
        ------
        RefusedError
            If the labels are too small to be read, or the margins leave no room for them.
        """
        across, down = self._mm("gap_across"), self._mm("gap_down")
        left, top = self._mm("left"), self._mm("top")
        wide = (width - left - self._mm("right") - (self.columns - 1) * across) / self.columns
        high = (height - top - self._mm("bottom") - (self.rows - 1) * down) / self.rows
        if wide < _LEAST_MM[0] or high < _LEAST_MM[1]:
            raise refuse(
                f"a label would be {wide:.1f} mm wide and {high:.1f} mm high on this paper "
                f"({width:g} x {height:g} mm)",
                f"measure margins and gaps again; {_LEAST_MM[0]:g} x {_LEAST_MM[1]:g} mm is the "
                "least that can be read",
                column="rows" if wide >= _LEAST_MM[0] else "columns",
            )
        return [
            (left + column * (wide + across), top + row * (high + down), wide, high)
            for row in range(self.rows)
            for column in range(self.columns)
        ]
