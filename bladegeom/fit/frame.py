"""A frame of readings as arrays: its rows sorted into blades, and what it states of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.columns import FACT_COLUMNS, MOST_TEETH, STATED, Length, Number, OneOf, Whole
from bladegeom.faults import RefusedError
from bladegeom.kernel.design import FEWEST_TEETH
from bladegeom.lengths import LARGEST, LEAST, MM_PER, NumberError, parse_number
from bladegeom.mistakes.check import REVOLUTIONS_MM
from bladegeom.tables.facts import parse_fact

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]


class Groups(NamedTuple):
    """The rows of a frame by blade and mounting, in the order in which these come.

    Attributes
    ----------
    order : ndarray of int, shape (rows,), or None
        The rows brought together; None where each blade's rows are together already.
    start, size : ndarray of int, shape (groups,)
        Where the rows of each group begin in that order, and how many they are.
    first : ndarray of int, shape (groups,)
        The first row of each group.
    name, mount : ndarray of str objects, shape (groups,)
        As text; empty where missing or where there is no such column.
    """

    order: Places | None
    start: Places
    size: Places
    first: Places
    name: NDArray[np.object_]
    mount: NDArray[np.object_]

    def ordered(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return the values of a column in the order of the groups."""
        return values if self.order is None else values[self.order]

    def rows(self, which: Places) -> Places:
        """Return the rows of some groups, ascending."""
        counts = self.size[which]
        ends = np.cumsum(counts)
        within = np.arange(ends[-1] if len(ends) else 0) - np.repeat(ends - counts, counts)
        places = np.repeat(self.start[which], counts) + within
        return np.sort(places if self.order is None else self.order[places])

    def uneven(self, values: NDArray[Any]) -> Places:
        """Return the groups in which a column of the frame does not say the same throughout."""
        values = self.ordered(values)
        head = np.repeat(values[self.start], self.size)
        other = values != head
        if values.dtype.kind == "f":
            other &= ~(np.isnan(values) & np.isnan(head))
        return np.unique(np.searchsorted(self.start, np.flatnonzero(other), side="right") - 1)


def grouped(names: pd.Series[Any] | None, mounts: pd.Series[Any] | None, rows: int) -> Groups:
    """Sort rows into blades and mountings."""
    import pandas as pd

    read = [_texts(column, whole=True) for column in (names, mounts) if column is not None]
    code = np.zeros(rows, dtype=np.int64)
    for place, (own, text) in enumerate(read):
        code = own if place == 0 else pd.factorize(code * len(text) + own)[0]
    start = np.append(0, np.flatnonzero(code[1:] != code[:-1]) + 1)
    order, first = None, start
    if int(code.max()) + 1 < len(start):
        order = _stable_order(code)
        count = np.bincount(code)
        start = np.cumsum(count) - count
        first = order[start]
    blank = np.full(len(start), "", dtype=object)
    given = iter([text[own[first]] for own, text in read])
    return Groups(
        order,
        start,
        np.diff(start, append=rows),
        first,
        blank if names is None else next(given),
        blank if mounts is None else next(given),
    )


def _stable_order(code: NDArray[np.int64]) -> Places:
    """Return what sorts codes, the last sixteen bits first: these NumPy sorts without comparing."""
    order = np.argsort((code & 0xFFFF).astype(np.uint16), kind="stable")
    for shift in range(16, int(code.max()).bit_length(), 16):
        part = ((code >> shift) & 0xFFFF).astype(np.uint16)
        order = order[np.argsort(part[order], kind="stable")]
    return order


def _texts(column: pd.Series[Any], *, whole: bool) -> tuple[NDArray[np.int64], NDArray[np.object_]]:
    """Return which of the different texts of a column stands in each row, and these."""
    import pandas as pd

    if pd.api.types.is_object_dtype(column.dtype):
        objects = column.to_numpy()
        if not _only_text(column):
            objects = np.array(cells(column, whole=whole), dtype=object)
        # The same text is mostly the same object, and objects are quickly told apart.
        kept_at = np.ndarray(objects.shape, np.intp, buffer=np.ascontiguousarray(objects))
        own, places = pd.factorize(kept_at)
        one_of_each = np.zeros(len(places), dtype=np.intp)
        one_of_each[own[::-1]] = np.arange(len(own))[::-1]
        column = pd.Series(objects[one_of_each], dtype=object)
        code, different = pd.factorize(column, use_na_sentinel=False)
        code = code[own]
    else:
        code, different = pd.factorize(column, use_na_sentinel=False)
    words = np.array(cells(pd.Series(different), whole=whole), dtype=object)
    again, texts = pd.factorize(words, use_na_sentinel=False)
    alike = len(texts) < len(words)
    return again[code] if alike else code, np.asarray(texts, dtype=object)


def _only_text(column: pd.Series[Any]) -> bool:
    import pandas as pd

    return isinstance(column.dtype, pd.StringDtype) or (
        column.dtype == object and pd.api.types.infer_dtype(column, skipna=True) == "string"
    )


def numbers(column: pd.Series[Any]) -> NDArray[Any]:
    """Return a column as numbers: NaN where blank, infinite where it is no number.

    Numbers are taken as they are, texts are read as in a file.
    """
    import pandas as pd

    kind = column.dtype
    if isinstance(kind, np.dtype) and kind.kind in "iuf":
        return column.to_numpy()
    if pd.api.types.is_numeric_dtype(kind) and not pd.api.types.is_bool_dtype(kind):
        if isinstance(kind, np.dtype):
            return np.full(len(column), np.inf)  # Complex.
        return column.to_numpy(dtype=np.float64, na_value=np.nan)
    code, different = pd.factorize(np.array(cells(column, whole=False), dtype=object))
    return np.array([_number(word) for word in different], dtype=np.float64)[code]


def _number(word: str) -> float:
    try:
        value = parse_number(word)
    except NumberError:
        return np.inf
    return np.nan if value is None else value


def cells(column: pd.Series[Any], *, whole: bool) -> list[str]:
    """Return the values as text; in names that are numbers, 7.0 is 7 (`whole`)."""
    found = []
    for value, missing in zip(column.tolist(), column.isna().tolist(), strict=True):
        if whole and isinstance(value, float) and value.is_integer():
            value = int(value)
        found.append("" if missing else str(value).strip())
    return found


class Facts(NamedTuple):
    """What is stated of each blade; arrays of shape (groups,), lengths in mm, NaN for not stated.

    Attributes
    ----------
    teeth, diameter, ring, graduation, touch : ndarray
    on_teeth : ndarray of bool
        Read on the teeth.
    blade : ndarray of int
        Place in `blades`.
    blades : list of Blade or None
        The different kinds of blades; None for one that cannot be.
    sizes : list of ndarray
        What else remounting cannot change.
    least_revolution : float
        The smallest revolution of a dial, stated or common.
    """

    teeth: NDArray[np.int64]
    diameter: Floats
    ring: Floats
    graduation: Floats
    touch: Floats
    on_teeth: Bools
    blade: NDArray[np.int64]
    blades: list[Blade | None]
    sizes: list[Floats]
    least_revolution: float


def facts_of(frame: pd.DataFrame, place: Mapping[str, int], groups: Groups, plain: Bools) -> Facts:
    """Return what is stated, and take blades with a fault in it out of the plain ones."""
    import pandas as pd

    blank = np.full(len(plain), np.nan)
    stated: dict[str, Floats] = {}
    said: dict[str, tuple[NDArray[np.int64], list[str]]] = {}
    for column in place:
        fact, unit = FACT_COLUMNS.get(column, (None, ""))
        if column == "turned" or (fact and not isinstance(fact, (Length, Number, Whole))):
            own, texts = _texts(frame.iloc[:, place[column]], whole=False)
            said[column] = own[groups.first], texts.tolist()
            plain[groups.uneven(own)] = False
        elif fact:
            values = numbers(frame.iloc[:, place[column]])
            plain[groups.uneven(values)] = False
            here = values[groups.first].astype(np.float64)
            size = np.abs(here)
            fault = (size > LARGEST) | ((size > 0) & (size < LEAST))
            if unit:
                fault |= here <= 0
                here = here * MM_PER[unit]
            plain[fault] = False
            stated[fact.name] = here
    get = stated.get
    diameter, ring = get("diameter", blank), get("ring_radius", blank)
    touch = np.nan_to_num(get("touch_deg", blank), posinf=0.0, neginf=0.0)
    teeth = get("teeth", blank)
    whole = (teeth >= FEWEST_TEETH) & (teeth <= MOST_TEETH) & (teeth == np.floor(teeth))
    plain &= whole & ~(get("plate", blank) > get("tooth_width", blank))
    plain &= ~(get("gullet", blank) >= diameter / 2) & ~(ring > diameter / 2)

    def says(column: str, *known: str) -> Bools:
        """Return which blades say one of the known words, the blank one where none is stated."""
        code, texts = said.get(column, (np.zeros(len(plain), dtype=np.int64), [""]))
        return np.array([text.lower() in known for text in texts], dtype=np.bool_)[code]

    on_teeth = says("surface", "teeth")
    for fact in STATED.values():
        if isinstance(fact, OneOf):
            plain &= says(fact.name, "", "?", *fact.among)
        elif isinstance(fact, Number):
            value = np.nan_to_num(get(fact.name, blank))
            plain &= (fact.among[0] <= value) & (value <= fact.among[1])
    plain &= says("turned", "", "forward") & (~on_teeth | says("tooth_pattern", "", "?"))
    count = np.where(whole, teeth, 0).astype(np.int64)
    code = count
    of_blade = {
        name: said[name] for name, one in STATED.items() if one.of == "blade" and name in said
    }
    for own, text in of_blade.values():
        code = code * len(text) + own
    blade, kinds = pd.factorize(code)
    blades: list[Blade | None] = []
    for kind in kinds.tolist():
        stated_here: dict[str, str] = {}
        for name, (_, text) in reversed(of_blade.items()):
            kind, at = divmod(kind, len(text))
            stated_here[name] = text[at]
        blades.append(_blade(kind, stated_here))
    return Facts(
        count,
        diameter,
        ring,
        get("graduation", blank),
        touch,
        on_teeth,
        blade,
        blades,
        [values for name, values in stated.items() if STATED[name].of == "blade"],
        float(np.nanmin(np.append(get("dial_turn", blank), min(REVOLUTIONS_MM)))),
    )


def _blade(teeth: int, said: Mapping[str, str]) -> Blade | None:
    """Return the blade that is stated, or None if it cannot be."""
    try:
        given: dict[str, Any] = {}
        for column, text in said.items():
            if fact := parse_fact(column, text, ".", "", None):
                given[column] = fact[1].value
        return Blade(teeth, **given)
    except (NumberError, RefusedError):
        return None
