"""What a frame of readings states of its blades, as one array a fact."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.blade import MOST_TEETH, Blade
from bladegeom.faults import RefusedError
from bladegeom.fit.table_columns import Groups, numbers, words
from bladegeom.kernel.plan import FEWEST_TEETH
from bladegeom.lengths import LARGEST, LEAST, MM_PER, NumberError
from bladegeom.mistakes.check import REVOLUTIONS_MM
from bladegeom.readings import SURFACES
from bladegeom.tables.columns import FACT_COLUMNS, LENGTH_COLUMNS
from bladegeom.tables.facts import BLADE_FACTS, parse_fact

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

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
