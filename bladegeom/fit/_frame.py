"""A frame of readings as arrays: its rows sorted into blades, and what it states of each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import Blade
from bladegeom.columns import (
    FACT_COLUMNS,
    FLANGE,
    LEFT_ALONE,
    MOST_TEETH,
    STATED,
    Length,
    Number,
    OneOf,
    Whole,
)
from bladegeom.faults import RefusedError, as_letters, refuse
from bladegeom.kernel.design import FEWEST_TEETH
from bladegeom.lengths import LARGEST, LEAST, MM_PER, NumberError, parse_number
from bladegeom.sizes import ANY, LEAST_OF_DIAMETER, SIZES
from bladegeom.tables.facts import parse_fact
from bladegeom.tables.table import customer_of

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Places = NDArray[np.intp]


class Groups(NamedTuple):
    """The rows of a frame by blade, customer and mounting, in the order in which these come."""

    order: Places | None  # Brings the rows together; None where they are together already.
    start: Places  # Where the rows of each group begin in that order.
    size: Places
    first: Places  # The first row of each group.
    name: Any  # Texts; empty where missing, or where there is no such column.
    customer: Any
    mount: Any

    def ordered(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return the values of a column in the order of the groups."""
        return values if self.order is None else values[self.order]

    def rows(self, which: Places) -> Places:
        """Return the rows of some groups, one group after the other."""
        places = spread(self.start[which], self.size[which])
        return places if self.order is None else self.order[places]

    def of(self, places: Places) -> Places:
        """Return the groups that hold some places in that order."""
        found: Places = np.searchsorted(self.start, places, side="right") - 1
        return found

    def uneven(self, values: NDArray[Any]) -> Places:
        """Return the groups in which a column of the frame does not say the same throughout."""
        values = self.ordered(values)
        other = np.flatnonzero(values[1:] != values[:-1]) + 1
        if values.dtype.kind == "f":
            other = other[~(np.isnan(values[other]) & np.isnan(values[other - 1]))]
        groups = self.of(other)
        return groups[self.start[groups] < other]


def spread(start: Places, size: Places) -> Places:
    """Return the places of runs that begin at some places and have some sizes, one by one."""
    ends = np.cumsum(size)
    places: Places = np.arange(size.sum()) + np.repeat(start - (ends - size), size)
    return places


def grouped(columns: Mapping[str, pd.Series[Any] | None], rows: int) -> Groups:
    """Sort rows into blades, those of a name by customer, and mountings.

    Raises
    ------
    RefusedError
        If rows state no customer, and blades of their name are of several.
    """
    import pandas as pd

    given = {key: column for key, column in columns.items() if column is not None}
    changes = np.zeros(rows, dtype=np.bool_)
    changes[0] = True
    for column in given.values():
        changes |= _changes(column)
    start = np.flatnonzero(changes)
    read = {key: _texts(column.iloc[start], whole=True) for key, column in given.items()}
    if "customer" in read and "blade" in read:
        read["customer"] = _owned(read["blade"], read["customer"])
    code = np.zeros(len(start), dtype=np.intp)
    for at, (own, texts) in enumerate(read.values()):
        code = own if at == 0 else pd.factorize(code * len(texts) + own)[0]
    begins = np.append(True, code[1:] != code[:-1])  # The same name may be written in two ways.
    start, code = start[begins], code[begins]
    size = np.diff(start, append=rows)
    order, run, first = None, np.arange(len(start)), start
    if int(code.max()) + 1 < len(start):
        order, run = _stable_order(np.repeat(code, size)), _first_of_each(code)
        first, size = start[run], np.bincount(code, weights=size).astype(np.intp)
        start = np.cumsum(size) - size
    blank = np.full(len(start), "", dtype=object)
    texts_of = [
        read[key][1].take(read[key][0][begins][run]) if key in read else blank for key in columns
    ]
    return Groups(order, start, size, first, *texts_of)


def _owned(names: tuple[Places, Any], customers: tuple[Places, Any]) -> tuple[Places, Any]:
    """Return the customers of some rows; where none is stated, the one of all blades so named."""
    (name, called), (code, texts) = names, customers
    known = [customer_of(str(text)) for text in texts]
    blank = np.array([not one for one in known], dtype=np.bool_)[code]
    if not blank.any() or blank.all():
        return customers
    least = np.full(len(called), len(texts))
    most = np.full(len(called), -1)
    np.minimum.at(least, name[~blank], code[~blank])
    np.maximum.at(most, name[~blank], code[~blank])
    unsure = np.flatnonzero(blank & (least[name] < most[name]))
    if len(unsure):
        who = str(called[name[unsure[0]]])
        whose = f"{texts[least[name[unsure[0]]]]} and {texts[most[name[unsure[0]]]]}"
        raise refuse(
            f"customer is blank in rows of this blade, and others of its name are of {whose}",
            "say in every row whose it is",
            blade=who,
            column="customer",
        )
    return np.where(blank & (most[name] >= 0), most[name], code), texts


def _stable_order(code: NDArray[np.intp]) -> Places:
    """Return what sorts codes, the last sixteen bits first: these NumPy sorts without comparing."""
    order = np.argsort((code & 0xFFFF).astype(np.uint16), kind="stable")
    for shift in range(16, int(code.max()).bit_length(), 16):
        part = ((code >> shift) & 0xFFFF).astype(np.uint16)
        order = order[np.argsort(part[order], kind="stable")]
    return order


def _first_of_each(code: NDArray[np.intp]) -> Places:
    """Return where each code comes first."""
    first = np.zeros(int(code.max(initial=-1)) + 1, dtype=np.intp)
    first[code[::-1]] = np.arange(len(code))[::-1]
    return first


def _changes(column: pd.Series[Any]) -> Bools:
    """Return which cells are not, or may not be, those of the row before."""
    values = _keys(column)
    other = values[1:] != values[:-1]
    if not isinstance(other, np.ndarray):
        other = other.to_numpy(dtype=np.bool_, na_value=True)
    return np.append(True, other)


def _keys(column: pd.Series[Any]) -> Any:
    """Return what is quickly compared: of objects their places in memory, which texts share."""
    if column.dtype == object:
        objects = np.ascontiguousarray(column.to_numpy())
        return np.ndarray(objects.shape, np.intp, buffer=objects)
    if isinstance(column.dtype, np.dtype):
        return column.to_numpy()
    return column.cat.codes.to_numpy() if column.dtype.name == "category" else column.array


def _texts(column: pd.Series[Any], *, whole: bool) -> tuple[Places, Any]:
    """Return which of the different texts of a column stands in each row, and these."""
    import pandas as pd

    if isinstance(column.dtype, pd.StringDtype):
        code, different = pd.factorize(column, use_na_sentinel=False)
        stripped = different.fillna("").str.strip()
        if stripped.equals(different):
            return code, different.array
        again, stripped = pd.factorize(stripped)
        return again[code], stripped.array
    code, _ = pd.factorize(_keys(column), use_na_sentinel=False)
    words = np.array(cells(column.iloc[_first_of_each(code)], whole=whole), dtype=object)
    again, texts = pd.factorize(words)
    return again[code], texts


def _all_texts(column: pd.Series[Any]) -> tuple[Places, Any]:
    """Return the same of a column in which rows mostly say what the row before says."""
    heads = np.flatnonzero(_changes(column))
    code, texts = _texts(column.iloc[heads], whole=False)
    return np.repeat(code, np.diff(heads, append=len(column))), texts


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
    code, texts = _texts(column, whole=False)
    return np.array([_number(word) for word in texts], dtype=np.float64)[code]


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
        found.append("" if missing else as_letters(str(value)).strip())
    return found


class Facts(NamedTuple):
    """What is stated of each blade; arrays of shape (groups,), lengths in mm, NaN for not stated.

    `blade` is the place of its kind in `blades`, None there for a kind that cannot be. `sizes` are
    what else remounting cannot change.
    """

    teeth: NDArray[np.int64]
    diameter: Floats
    ring: Floats
    graduation: Floats
    touch: Floats
    on_teeth: Bools
    ring_u: Floats
    end_float: Floats
    stylus: Floats
    blade: NDArray[np.int64]
    blades: list[Blade | None]
    sizes: list[Floats]
    dial_turn: Floats
    left_alone: Bools  # The dial, from turn to turn.


def facts_of(frame: pd.DataFrame, place: Mapping[str, int], groups: Groups, plain: Bools) -> Facts:
    """Return what is stated, and take blades with a fault in it out of the plain ones."""
    import pandas as pd

    blank = np.full(len(plain), np.nan)
    stated: dict[str, Floats] = {}
    said: dict[str, tuple[NDArray[np.int64], list[str]]] = {}
    for column in place:
        fact, unit = FACT_COLUMNS.get(column, (None, ""))
        if column == "turned" or (fact and not isinstance(fact, (Length, Number, Whole))):
            own, texts = _all_texts(frame.iloc[:, place[column]])
            said[column] = own[groups.first], list(texts)
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
                usual = SIZES.get(fact.name, ANY)  # What is to be asked about is told one by one.
                fault |= (here < usual.usual_least) | (here > usual.usual_most)
            plain[fault] = False
            stated[fact.name] = here
    get = stated.get
    diameter, ring = get("diameter", blank), get("ring_radius", blank)
    touch = np.nan_to_num(get("touch_deg", blank), posinf=0.0, neginf=0.0)
    teeth = get("teeth", blank)
    whole = (teeth >= FEWEST_TEETH) & (teeth <= MOST_TEETH) & (teeth == np.floor(teeth))
    plain &= whole & ~(get("plate", blank) > get("tooth_width", blank))
    plain &= ~(get("gullet", blank) >= diameter / 2) & ~(ring > diameter / 2)
    plain &= ~(ring < diameter * LEAST_OF_DIAMETER)

    def says(column: str, *known: str) -> Bools:
        """Return which blades say one of the known words, the blank one where none is stated."""
        code, texts = said.get(column, (np.zeros(len(plain), dtype=np.int64), [""]))
        return np.array([text.lower() in known for text in texts], dtype=np.bool_)[code]

    on_teeth = says("surface", "teeth")
    plain &= ~says("surface", FLANGE)  # No blade, which is told of it by itself.
    for fact in STATED.values():
        if isinstance(fact, OneOf):
            plain &= says(fact.name, "", "?", *fact.among)
        elif isinstance(fact, Number):
            value = np.nan_to_num(get(fact.name, blank))
            plain &= (fact.among[0] <= value) & (value <= fact.among[1])
    plain &= says("finished", "", "?", "yes")  # What is told of the others is told one by one.
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
        get("ring_radius_u", blank),
        get("end_float", blank),
        get("stylus_deg", blank),
        blade,
        blades,
        [values for name, values in stated.items() if STATED[name].of == "blade"],
        get("dial_turn", blank),
        says("dial", LEFT_ALONE),
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
