"""Remarks on fits as predicates over arrays: which blades each is said of, and its words.

The same remarks are made on one blade, as arrays of one, and on all blades of a table.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray


class Remark(NamedTuple):
    """What is said of some blades.

    Attributes
    ----------
    of : ndarray of bool, shape (n,)
        The blades of which it is said.
    words : str or callable
        The same for all, or the words for the blade at a place, where they hold its numbers.
    """

    of: NDArray[np.bool_]
    words: str | Callable[[int], str]

    def on(self, at: int) -> str:
        """Return the words for the blade at a place."""
        return self.words if isinstance(self.words, str) else self.words(at)


def said_of(remarks: Sequence[Remark], at: int) -> tuple[str, ...]:
    """Return what is said of the blade at a place, in the order of the remarks."""
    return tuple(one.on(at) for one in remarks if one.of[at])


def joined(remarks: Sequence[Remark], count: int) -> tuple[NDArray[np.int64], list[str]]:
    """Return all that is said, of each of `count` blades as one text.

    Returns
    -------
    which : ndarray of int, shape (count,)
        Place of each blade's text among the texts.
    texts : list of str
        The first is empty.
    """
    kind = np.zeros(count, dtype=np.int64)
    own = np.zeros(count, dtype=np.bool_)
    for place, one in enumerate(remarks):
        kind += one.of.astype(np.int64) << place
        own |= one.of & (not isinstance(one.words, str))
    which = np.zeros(count, dtype=np.int64)
    texts: dict[str, int] = {"": 0}

    def text(at: Any) -> int:
        return texts.setdefault("; ".join(said_of(remarks, int(at))), len(texts))

    kinds, first, members = np.unique(kind, return_index=True, return_inverse=True)
    which = np.array([0 if not one else text(at) for one, at in zip(kinds, first, strict=True)])[
        members
    ]
    for at in np.flatnonzero(own):
        which[at] = text(at)
    return which, [*texts]
