"""Blades judged by the shop's limits: one, or all of a table at once.

Of a table, what every blade comes to is found for all of them together, by bounds on what would be
found one by one. Where these do not tell (a mistake may be in the readings, the stand may have
moved, a bend or unread teeth may matter), the blade is judged by itself.
"""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from functools import partial
from typing import TYPE_CHECKING, Any, overload

import numpy as np
from numpy.typing import NDArray

from bladegeom.faults import BladegeomWarning, Fault, RefusedError, refuse
from bladegeom.fit.fit import fit_wobble
from bladegeom.fit.many import READ, Brought, Opened, one_by_one, open_frame
from bladegeom.fit.wobble import WobbleFit
from bladegeom.kernel.span import Scatter
from bladegeom.kinds import checked
from bladegeom.mistakes.check import Findings
from bladegeom.readings import Readings
from bladegeom.shop.condition import Condition, mistaken, out
from bladegeom.shop.condition import assess as assess_one
from bladegeom.shop.limits import Limits
from bladegeom.shop.lot import Lot
from bladegeom.shop.verdict import RULES, in_ranges
from bladegeom.tables.eye import BLANK, NOTHING, eye_says

if TYPE_CHECKING:
    import pandas as pd

Places = NDArray[np.intp]

_NAMED = {"blade": "name", "customer": "customer", "mount": "mount"}
"""Columns that name a row -> what `Groups` call them."""


@overload
def assess(
    fit: WobbleFit,
    limits: Limits,
    *,
    rule: str = ...,
    findings: Findings | None = ...,
    eye: str | None = ...,
    pooled: Scatter | None = ...,
) -> Condition: ...


@overload
def assess(
    fit: pd.DataFrame,
    limits: Limits,
    *,
    rule: str = ...,
    eye: Mapping[str, str] | None = ...,
    pooled: Scatter | None = ...,
) -> pd.DataFrame: ...


@checked
def assess(
    fit: WobbleFit | pd.DataFrame,
    limits: Limits,
    *,
    rule: str = "zones",
    findings: Findings | None = None,
    eye: str | Mapping[str, str] | None = None,
    pooled: Scatter | None = None,
) -> Condition | pd.DataFrame:
    """Judge a blade, or every blade of a table, by the shop's limits and say what to do next.

    Scrap is never decided from runout: only what the eye found puts a blade out of service.

    Parameters
    ----------
    fit : WobbleFit or pandas.DataFrame
        A fit, or what `fit_table` returned: all of its rows, or some, in any order.
    limits : Limits
    rule : {"zones", "simple"}
        Three outcomes by the zones of ISO 14253-1, or the value alone against the limit.
    findings : Findings, optional
        Of `check_readings`, for one blade; looked for here if not given.
    eye : str or dict of str to str, optional
        What the eye found, in words; ``none`` where it found nothing (see `eye_says`). Of a table,
        by the blade's name.
    pooled : Scatter, optional
        How well a reading repeats with this indicator, in the unit of the readings and with its
        degrees of freedom, from other blades: one turn does not tell it.

    Returns
    -------
    Condition or pandas.DataFrame
        Of a table a row a blade, with its index, and the same outcomes, actions, reasons and
        remarks as one by one, as columns: ``blade`` (``customer``, ``mount``), ``unit``,
        ``outcome``, ``action``, ``reasons``, ``teeth_to_read``, ``remarks``, and of each quantity
        with a limit
        ``raw_tir_outcome``, ``raw_tir_limit`` and so on. Blades that cannot be judged are left
        out, listed as `Fault` in ``attrs["refused"]``, and a `BladegeomWarning` says so.

    Raises
    ------
    RefusedError
        If no limit or more than one on a quantity holds for this blade (of a table, for none of
        them), the limit holds at another ring, the rule is not known, the eye's words do not say
        what it found, or the table does not bring the readings that were fitted.
    """
    how: dict[str, Any] = {"rule": rule, "pooled": pooled}
    if isinstance(fit, WobbleFit):
        if isinstance(eye, Mapping):
            cure = "give it in words; by the blade's name for a table"
            raise refuse("eye is of several blades, and this is one", cure, column="eye")
        return assess_one(fit, limits, findings=findings, eye=eye, **how)
    if findings is not None or isinstance(eye, str):
        name = "eye" if findings is None else "findings"
        cure = "give eye by the blade's name, and leave findings out"
        raise refuse(f"{name} is of one blade, and this is a table", cure, column=name)
    if rule not in RULES:
        raise refuse(f"{rule!r} is no decision rule", "use zones or simple", value=rule)
    return _of_table(fit, limits, eye or {}, how)


def _of_table(
    table: pd.DataFrame, limits: Limits, eyes: Mapping[str, str], how: Mapping[str, Any]
) -> pd.DataFrame:
    import pandas as pd

    brought = table.attrs.get(READ)
    if not isinstance(brought, Brought) or brought.frame is None:
        raise refuse(
            "the table does not bring the readings, and much is told from them alone",
            "judge what fit_table returned: assess(fit_table(read_table(...)), limits)",
        )
    opened = open_frame(brought.frame)
    groups = _groups_of(table, opened)
    _check_eyes(table, eyes)
    lot = Lot(limits, how["rule"], how["pooled"], opened)
    lot.judge(looked_through=True)
    wanted = np.zeros(len(lot.alone), dtype=np.bool_)
    wanted[groups] = True
    _check_the_same(table, lot, groups)
    found = {name for name, words in eyes.items() if eye_says(words) not in (BLANK, NOTHING)}
    if found:
        lot.alone |= np.isin(np.array(opened.groups.name, dtype=str), [*found])
    rows: dict[int, dict[str, Any]] = {}
    refused: list[Fault] = []

    def judged(group: int, readings: Readings) -> dict[str, Any]:
        fit = fit_wobble(readings)
        if not lot.alone[group]:
            doubted = lot.doubted[group]
            step = mistaken(fit) if doubted else out(fit, float(lot.smallest[group]))
            if step is not None:
                return lot.row(group, step.action, step.reasons)
        eye = eyes.get(readings.blade.name)
        return _row(assess_one(fit, limits, eye=eye, **how))

    some = lot.alone | (~lot.told & (lot.doubted | lot.bent))
    singly = one_by_one(opened, np.flatnonzero(some & wanted), lambda group: partial(judged, group))
    for group, row in singly:
        if isinstance(row, dict):
            rows[group] = row
        else:
            refused += row
    for group in np.flatnonzero(~some & wanted).tolist():
        rows[group] = lot.row(group, *lot.step(group))
    kept = np.array([group in rows for group in groups.tolist()])
    if not kept.any():
        raise RefusedError(refused)
    made = pd.DataFrame([rows[group] for group in groups[kept].tolist()], index=table.index[kept])
    for at, name in enumerate(one for one in _NAMED if one in table):
        made.insert(at, name, table[name][kept])
    made.insert(list(made).index("outcome"), "unit", opened.unit)
    if refused:
        lines = "\n".join(f"  {fault}" for fault in refused)
        warnings.warn(f"left out:\n{lines}", BladegeomWarning, stacklevel=4)
    made.attrs["refused"] = refused
    return made


def _groups_of(table: pd.DataFrame, opened: Opened) -> Places:
    """Return which blade and mounting of the readings each row of a table is of."""
    import pandas as pd

    held = {key: getattr(opened.groups, field) for key, field in _NAMED.items()}
    names = [key for key in held if key == "blade" or key in opened.place]
    if lacking := [key for key in names if key not in table]:
        cure = "keep the columns by which fit_table names its rows"
        raise refuse(f"the table has no column {lacking[0]}", cure, column=lacking[0])
    keys = pd.MultiIndex.from_arrays([pd.Index(held[one]).astype("str") for one in names])
    found: Places = keys.get_indexer(
        pd.MultiIndex.from_arrays([table[one].astype("str") for one in names])
    )
    if (strange := np.flatnonzero(found < 0)).size:
        name = str(table["blade"].iloc[strange[0]])
        raise refuse("no readings of it were fitted", "fit it with the others", blade=name)
    return found


def _check_eyes(table: pd.DataFrame, eyes: Mapping[str, str]) -> None:
    """Refuse what the eye found where it is not told of which blade."""
    names = table["blade"].astype("str")
    if strange := [one for one in eyes if one not in {*names}]:
        raise refuse(f"eye names {strange[0]}, which is not in the table", "name its blades")
    if "customer" in table:
        owned = table["customer"].astype("str").groupby(names).nunique()
        if several := [one for one in eyes if owned[one] > 1]:
            problem = f"eye names {several[0]}, and several customers have one of that name"
            raise refuse(problem, "judge the rows of each customer by themselves")


def _check_the_same(table: pd.DataFrame, lot: Lot, groups: Places) -> None:
    """Refuse readings that are not those that were fitted."""
    if "raw_tir" not in table:
        return
    plain = ~lot.alone[groups]
    same = lot.raw_tir[groups][plain] == table["raw_tir"].to_numpy(dtype=np.float64)[plain]
    if not same.all():
        name = str(table["blade"].to_numpy()[plain][~same][0])
        cure = "fit them again: assess(fit_table(table), limits)"
        raise refuse("the readings were changed after they were fitted", cure, blade=name)


def _row(condition: Condition) -> dict[str, Any]:
    row: dict[str, Any] = {
        "outcome": condition.outcome,
        "action": condition.action,
        "reasons": " ".join(condition.reasons),
        "teeth_to_read": in_ranges(condition.teeth_to_read),
        "remarks": " ".join(condition.remarks),
    }
    for one in condition.verdicts:
        row |= {f"{one.on.quantity}_outcome": one.outcome, f"{one.on.quantity}_limit": one.limit}
    return row
