"""The shop's own limits, each with its source in words; none is built in."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.lengths import MM_PER, NumberError, parse_number
from bladegeom.shop.limit import QUANTITIES, Limit
from bladegeom.tables import toml
from bladegeom.tables.text import Sheet, decode, read_bytes, split


@dataclass(frozen=True)
class Limits:
    """All limits of a shop.

    Attributes
    ----------
    limits : tuple of Limit
    """

    limits: tuple[Limit, ...]

    def of(self, diameter_mm: float | None, blade: str = "") -> tuple[Limit, ...]:
        """Return the limits that a blade is judged by: at most one on each quantity.

        Parameters
        ----------
        diameter_mm : float or None
        blade : str
            Its name, for messages.

        Returns
        -------
        tuple of Limit

        Raises
        ------
        RefusedError
            If none holds, two on the same quantity do, or the diameter is needed and not known.
        """
        held = []
        for quantity in QUANTITIES:
            on = [one for one in self.limits if one.quantity == quantity]
            if diameter_mm is None and any(one.ranged for one in on):
                raise refuse(
                    f"the limits on {quantity} go by diameter, and the blade's is not stated",
                    "give the blade's diameter",
                    blade=blade,
                    column="diameter",
                )
            here = [one for one in on if one.holds(diameter_mm)]
            if len(here) > 1:
                raise refuse(
                    f"{len(here)} limits hold for this blade: " + "; ".join(map(str, here)),
                    "leave one of them out, or end its range before the other begins",
                    blade=blade,
                    value=None if diameter_mm is None else f"{diameter_mm:g} mm",
                )
            held += here
        if not held:
            size = "" if diameter_mm is None else f" of {diameter_mm:g} mm"
            raise refuse(
                f"no limit for this blade{size}",
                "add a limit whose range holds its diameter",
                blade=blade,
                value=None if diameter_mm is None else f"{diameter_mm:g} mm",
            )
        return tuple(held)


def read_limits(path: str | os.PathLike[str]) -> Limits:
    """Read a shop's limits.

    Parameters
    ----------
    path : path
        TOML, one ``[[limit]]`` each with the keys `quantity`, `value`, `source` and, if wanted,
        `from`, `to` (diameters) and `ring`; or, where the name ends in ``.csv``, a table with the
        columns ``quantity``, ``limit_mm``, ``source`` and ``diameter_from_mm``,
        ``diameter_to_mm``, ``ring_radius_mm``, or the same with another unit.

    Returns
    -------
    Limits

    Raises
    ------
    RefusedError
        Listing everything that is wrong in the file, with its row.
    """
    name = os.fspath(path)
    text = decode(read_bytes(path), name)
    read = _from_csv if name.lower().endswith(".csv") else _from_toml
    limits, faults = read(text, name)
    if not limits and not faults:
        faults.append(Fault(f"{name} holds no limit", "write down the shop's own, with its source"))
    if faults:
        raise RefusedError(faults)
    return Limits(tuple(limits))


_PART = toml.Part(
    {
        "quantity": toml.one_of(*QUANTITIES),
        "value": toml.length,
        "source": toml.text,
        "from": toml.length,
        "to": toml.length,
        "ring": toml.length,
    },
    needed=("quantity", "value", "source"),
    several=True,
)
_FIELD = {"from": "first", "to": "last"}
_COLUMN = {
    "limit": "value",
    "diameter_from": "from",
    "diameter_to": "to",
    "ring_radius": "ring",
}


def _from_toml(text: str, name: str) -> tuple[list[Limit], list[Fault]]:
    parts, faults = toml.read_parts(text, name, {"limit": _PART})
    limits: list[Limit] = []
    for one in parts.get("limit", []):
        _add(limits, faults, one.values, [], one.row)
    return limits, faults


def _from_csv(text: str, name: str) -> tuple[list[Limit], list[Fault]]:
    plain = ("quantity", "source")
    known = {f"{stem}_{unit}": (stem, unit) for stem in _COLUMN for unit in MM_PER}
    sheet = split(text, name, frozenset(known) | set(plain))
    faults = _of_header(sheet, known, plain)
    if faults:
        return [], faults
    limits: list[Limit] = []
    for row, cells in sheet.rows:
        values: dict[str, Any] = {}
        wrong = []
        for column, cell in zip(sheet.header, cells, strict=True):
            if column in plain:
                values[column] = cell.strip()
            elif column in known:
                stem, unit = known[column]
                try:
                    number = parse_number(cell)
                except NumberError as error:
                    problem = f"{column}: {error.problem}"
                    cure = "write a number with a decimal point"
                    wrong.append(Fault(problem, cure, row=row, column=column, value=cell))
                    values.setdefault(_COLUMN[stem], None)
                    continue
                if number is not None:
                    values[_COLUMN[stem]] = (number, unit)
        if "value" not in values:
            wrong.append(Fault("the limit is not given", "write its value", row=row))
        _add(limits, faults, values, wrong, row)
    return limits, faults


def _of_header(
    sheet: Sheet, known: dict[str, tuple[str, str]], plain: tuple[str, ...]
) -> list[Fault]:
    row, header = sheet.header_row, sheet.header
    faults = [
        toml.unknown_name(one, [*plain, *known], row, "column")
        for one in header
        if one and one not in known and one not in plain
    ]
    for stem in (*plain, *_COLUMN):
        names = [one for one in header if one == stem or known.get(one, ("",))[0] == stem]
        if len(names) > 1:
            problem = f"{' and '.join(names)} are both given"
            faults.append(Fault(problem, "keep one of them", row=row, column=names[1]))
        if not names and stem in (*plain, "limit"):
            cure = "add it with its unit, such as limit_mm" if stem == "limit" else "add it"
            faults.append(Fault(f"there is no column {stem}", cure, row=row, column=stem))
    return faults


def _add(
    limits: list[Limit],
    faults: list[Fault],
    values: dict[str, Any],
    wrong: list[Fault],
    row: int | None,
) -> None:
    """Add a limit, or what is wrong with it."""
    if not wrong:
        try:
            limits.append(
                Limit(**{_FIELD.get(key, key): one for key, one in values.items()}, row=row)
            )
        except RefusedError as error:
            wrong = list(error.faults)
    faults += wrong
