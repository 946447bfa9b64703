"""A frame of readings as arrays: its rows sorted into blades, and what it states of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import MOST_TEETH, Blade
from bladegeom.faults import RefusedError
from bladegeom.kernel.plan import FEWEST_TEETH
from bladegeom.lengths import LARGEST, LEAST, MM_PER, NumberError, parse_number
from bladegeom.mistakes.check import REVOLUTIONS_MM
from bladegeom.readings import SURFACES
from bladegeom.tables.columns import FACT_COLUMNS, LENGTH_COLUMNS
from bladegeom.tables.facts import BLADE_FACTS, parse_fact

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]

_AT_ONCE = 1 << 18
_SAMPLE = 2000


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
        changed = np.flatnonzero(_changes(self.ordered(values)))
        group = np.searchsorted(self.start, changed, side="right") - 1
        return np.unique(group[self.start[group] != changed])

    def uneven_or_blank(self, values: Floats) -> Places:
        """Return the same for numbers, where a group without any number is no fault."""
        values = self.ordered(values)
        changed = np.flatnonzero(_changes(values))
        blank = np.isnan(values[changed]) & np.isnan(values[changed - 1])
        changed = changed[~blank]
        group = np.searchsorted(self.start, changed, side="right") - 1
        return np.unique(group[self.start[group] != changed])


def grouped(names: pd.Series[Any] | None, mounts: pd.Series[Any] | None, rows: int) -> Groups:
    """Sort rows into blades and mountings.

    Neighbouring names are compared first, which is cheap; only where a blade's rows do not stand
    together are they sorted.
    """
    import pandas as pd

    keys = [_Key(column) for column in (names, mounts) if column is not None]
    changed = np.zeros(rows, dtype=np.bool_)
    changed[0] = True
    for key in keys:
        changed |= key.changes()
    start = np.flatnonzero(changed)
    read = [key.texts(start) for key in keys]
    code = np.zeros(len(start), dtype=np.int64)
    for place, (text, own) in enumerate(read):
        code = own if place == 0 else pd.factorize(code * len(text) + own)[0]
    count = np.diff(start, append=rows)
    order, first, place_of = None, start, np.arange(len(start))
    if int(code.max()) + 1 < len(start):
        every = np.repeat(code, count)
        order = _stable_order(every)
        count = np.bincount(every)
        place_of = np.searchsorted(start, order[np.cumsum(count) - count])
        first = start[place_of]
        start = np.cumsum(count) - count
    given = iter([text[own[place_of]] for text, own in read])
    blank = np.full(len(start), "", dtype=object)
    name = blank if names is None else next(given)
    mount = blank if mounts is None else next(given)
    return Groups(order, start, count, first, name, mount)


def _stable_order(code: NDArray[np.int64]) -> Places:
    """Return what sorts codes, the last sixteen bits first: these NumPy sorts without comparing."""
    order = np.argsort((code & 0xFFFF).astype(np.uint16), kind="stable")
    for shift in range(16, int(code.max()).bit_length(), 16):
        part = ((code >> shift) & 0xFFFF).astype(np.uint16)
        order = order[np.argsort(part[order], kind="stable")]
    return order


class _Key:
    """A column that is compared as it is, and read as text only where something new begins."""

    def __init__(self, column: pd.Series[Any]) -> None:
        import pandas as pd

        self.column, self.categories = column, [""]
        self.only_text = _only_text(column)
        self.in_arrow = self.only_text and getattr(column.dtype, "storage", "") == "pyarrow"
        if isinstance(column.dtype, pd.CategoricalDtype):
            self.categories = [*cells(pd.Series(column.cat.categories), whole=True), ""]
            self.values: NDArray[Any] = column.cat.codes.to_numpy()
        elif isinstance(column.dtype, np.dtype) and column.dtype.kind in "iuf":
            self.values = column.to_numpy()
        elif self.only_text:
            few = column.iloc[:_SAMPLE] if self.in_arrow else column
            self.values = few.to_numpy(dtype=object)
        else:
            self.values = np.array(cells(column, whole=True), dtype=object)

    def changes(self) -> Bools:
        """Return where the name may differ from the one before it."""
        if _changes(self.values[:_SAMPLE]).mean() > 0.5:
            return np.ones(len(self.column), dtype=np.bool_)  # Shuffled: not worth the comparing.
        if self.in_arrow:  # Millions of texts are not made into objects.
            return self.column.ne(self.column.shift()).to_numpy(dtype=np.bool_, na_value=True)
        return _changes(self.values)

    def texts(self, at: Places) -> tuple[NDArray[np.object_], NDArray[np.int64]]:
        """Return the different texts at some places, and which of them stands at each."""
        import pandas as pd

        if self.only_text:
            # Missing names have the code -1.
            if self.in_arrow:
                code, names = pd.factorize(self.column.iloc[at])
                different = names.to_numpy(dtype=object)
            else:
                # The same name is mostly the same object, and objects are quickly told apart.
                objects = self.values[at]
                own, _ = pd.factorize(_where(objects))
                one_of_each = np.zeros(int(own.max(initial=0)) + 1, dtype=np.intp)
                one_of_each[own[::-1]] = np.arange(len(own))[::-1]
                code, different = pd.factorize(objects[one_of_each])
                code = code[own]
            read = different.tolist()
            words = [*map(str.strip, read), ""]
            if words[:-1] == read and not (len(code) and code.min() < 0):
                return different, code
        else:
            code, different = pd.factorize(self.values[at], use_na_sentinel=False)
            if len(self.categories) > 1:
                words = [self.categories[one] for one in different]
            else:
                words = cells(pd.Series(different), whole=True)
        again, unlike = pd.factorize(np.array(words, dtype=object))
        return np.asarray(unlike, dtype=object), again[code]


def _only_text(column: pd.Series[Any]) -> bool:
    import pandas as pd

    return isinstance(column.dtype, pd.StringDtype) or (
        column.dtype == object and pd.api.types.infer_dtype(column, skipna=True) == "string"
    )


def _changes(values: NDArray[Any]) -> NDArray[np.bool_]:
    """Return where a value differs from the one before it; the first does."""
    changed = np.ones(len(values), dtype=np.bool_)
    if values.dtype != object:
        np.not_equal(values[1:], values[:-1], out=changed[1:])
        return changed
    # Names in a column are mostly the same object over and over, which is quickly seen.
    where = _where(values)
    np.not_equal(where[1:], where[:-1], out=changed[1:])
    for at in range(1, len(values), _AT_ONCE):
        here = slice(at, min(len(values), at + _AT_ONCE))
        other = np.flatnonzero(changed[here])
        if len(other) > (here.stop - at) // 4:
            changed[here] = values[here] != values[at - 1 : here.stop - 1]
        else:
            other += at
            changed[other] = values[other] != values[other - 1]
    return changed


def _where(values: NDArray[np.object_]) -> NDArray[np.intp]:
    """Return where each object is kept: the same place, the same object."""
    return np.ndarray(values.shape, np.intp, buffer=np.ascontiguousarray(values))


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


def words(column: pd.Series[Any], groups: Groups) -> tuple[NDArray[np.object_], Places]:
    """Return the text of a column at the head of every group, and the groups where it varies."""
    values = np.array(cells(column, whole=False), dtype=object) if not _only_text(column) else None
    if values is None:
        values = column.to_numpy(dtype=object)
    heads = np.array([_text(one) for one in values[groups.first]], dtype=object)
    return heads, groups.uneven(values)


def _text(value: object) -> str:
    return value.strip() if isinstance(value, str) else ""


def cells(column: pd.Series[Any], *, whole: bool) -> list[str]:
    """Return the values as text; in names that are numbers, 7.0 is 7 (`whole`)."""
    found = []
    for value, missing in zip(column.tolist(), column.isna().tolist(), strict=True):
        if whole and isinstance(value, float) and value.is_integer():
            value = int(value)
        found.append("" if missing else str(value).strip())
    return found


_WORDS = ("surface", "numbered", "side", "pitch_pattern", "tooth_pattern", "turned")


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
    said: dict[str, NDArray[np.object_]] = {}
    for column in place:
        if column in _WORDS:
            said[column], uneven = words(frame.iloc[:, place[column]], groups)
            plain[uneven] = False
        elif column in FACT_COLUMNS:
            values = numbers(frame.iloc[:, place[column]])
            plain[groups.uneven_or_blank(values)] = False
            here = values[groups.first].astype(np.float64)
            size = np.abs(here)
            fault = (size > LARGEST) | ((size > 0) & (size < LEAST))
            if column in LENGTH_COLUMNS:
                column, unit = LENGTH_COLUMNS[column]
                fault |= here <= 0
                here = here * MM_PER[unit]
            plain[fault] = False
            stated[column] = here
    get = stated.get
    diameter, ring = get("diameter", blank), get("ring_radius", blank)
    touch = np.nan_to_num(get("touch_deg", blank), posinf=0.0, neginf=0.0)
    stylus = np.nan_to_num(get("stylus_deg", blank))
    teeth = get("teeth", blank)
    whole = (teeth >= FEWEST_TEETH) & (teeth <= MOST_TEETH) & (teeth == np.floor(teeth))
    plain &= whole & (np.abs(touch) <= 360) & (stylus >= 0) & (stylus < 90)
    plain &= ~(get("plate", blank) > get("tooth_width", blank))
    plain &= ~(get("gullet", blank) >= diameter / 2) & ~(ring > diameter / 2)
    on_teeth = _says(said, "surface", ["teeth"], len(plain))
    plain &= on_teeth | _says(said, "surface", ["", "?", *SURFACES], len(plain))
    plain &= _says(said, "turned", ["", "forward"], len(plain))
    plain &= ~on_teeth | _says(said, "tooth_pattern", ["", "?"], len(plain))
    count = np.where(whole, teeth, 0).astype(np.int64)
    code = count
    texts: dict[str, list[str]] = {}
    for column in ("pitch_pattern", "tooth_pattern", "numbered"):
        if column in said:
            own, different = pd.factorize(said[column])
            texts[column] = different.tolist()
            code = code * len(different) + own
    blade, kinds = pd.factorize(code)
    blades: list[Blade | None] = []
    for kind in kinds.tolist():
        says: dict[str, str] = {}
        for column, text in reversed(texts.items()):
            kind, at = divmod(kind, len(text))
            says[column] = text[at]
        blades.append(_blade(kind, says))
    return Facts(
        count,
        diameter,
        ring,
        get("graduation", blank),
        touch,
        on_teeth,
        blade,
        blades,
        [get(fact, blank) for fact in BLADE_FACTS],
        float(np.nanmin(np.append(get("dial_turn", blank), min(REVOLUTIONS_MM)))),
    )


def _says(
    said: Mapping[str, NDArray[np.object_]], column: str, known: list[str], count: int
) -> Bools:
    """Return which blades say one of the known words, or the blank one where nothing is said."""
    import pandas as pd

    if column not in said:
        return np.full(count, "" in known)
    code, different = pd.factorize(said[column])
    return np.array([one.lower() in known for one in different.tolist()], dtype=np.bool_)[code]


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
