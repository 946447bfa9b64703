"""The face of a flange or an arbor, read without a blade: its places are no teeth."""

from __future__ import annotations

import re
from typing import Any

from bladegeom.columns import FLANGE
from bladegeom.faults import refuse, shown

_WORDS = {
    "wobble and teeth to mark are": "the runout is",
    "teeth": "places",
    "tooth": "place",
    "plate": "face",
    "blade": "face",
    "wobble": "runout",
}
_MEANT = re.compile(rf"\b({'|'.join(_WORDS)})\b", re.IGNORECASE)


def is_face(readings: Any) -> bool:
    """Return whether the face of a flange was read, and no blade, in some `Readings`."""
    return bool(readings.surface == FLANGE)


def check_blade(readings: Any, so: str) -> None:
    """Refuse `Readings` for what needs a blade, in words of what cannot be told then."""
    check_surface(readings.surface, so, readings.blade.name)


def check_surface(surface: Any, so: str, blade: str = "") -> None:
    """Refuse the same where only the surface is known, if it is."""
    if surface == FLANGE:
        raise refuse(
            f"no blade was read but the face of a flange (surface is flange), so {so}",
            "see its runout with bladegeom fit, or give it to bladegeom clock --flange; if a blade "
            "was read, state surface as plate or teeth",
            value=surface,
            blade=blade,
            column="surface",
        )


def named_face(name: str) -> str:
    """Return how a face is called where a text of it begins, on one line."""
    return f"Flange {shown(name)}" if name else "Flange"


def of_face(words: str) -> str:
    """Return what is said of a blade's teeth as it is said of the places of a face."""

    def put(found: re.Match[str]) -> str:
        word = found[0]
        other = _WORDS[word.lower()]
        return other.capitalize() if word[0].isupper() else other

    return _MEANT.sub(put, words)
