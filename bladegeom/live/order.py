"""In what order teeth are read, so that the wobble shows early."""

from __future__ import annotations

from itertools import pairwise

SPREAD = 8
"""Teeth that are read in the first turn: the fewest that show a shape."""


def reading_order(teeth: int, spread: bool) -> list[int]:
    """Return every tooth once, in the order in which it is to be read.

    Spread, the first turn asks for eight teeth evenly round the blade, and each further turn for
    eight between those, where the gaps are widest. Turned always the same way, no tooth that is
    wanted is passed and come back to: within a turn the numbers grow.

    Parameters
    ----------
    teeth : int
        That the blade has.
    spread : bool
        Whether to begin all round; else in the order of the numbers.
    """
    if not spread:
        return list(range(1, teeth + 1))
    parts = min(SPREAD, teeth)
    # Half a tooth goes up, by whole numbers, so that no machine rounds it otherwise.
    starts = [(2 * part * teeth + parts) // (2 * parts) + 1 for part in range(parts + 1)]
    gaps = list(pairwise(starts))
    longest = max(end - first for first, end in gaps)
    return [first + past for past in _between(longest) for first, end in gaps if first + past < end]


def _between(length: int) -> list[int]:
    """Return the places of a gap, from 0: each halves the widest that those before leave."""
    places = [0]
    while len(places) < length:
        ends = sorted([*places, length])
        gap, first = max((end - first, -first) for first, end in pairwise(ends))
        places.append(-first + gap // 2)
    return places
