"""The wall that teeth leave when each cuts its own path through the wood: arrays, no blade."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

_POINTS, _LEAST = 480, 6
"""Points over one turn of the feed, and the fewest from one tooth's tip to the next one's."""

_SAMPLES = 16
"""For each tooth, where the profile is taken apart into waves."""


@dataclass(frozen=True)
class SideEdge:
    """The side cutting edge of a tooth and where in the cut it meets the wall."""

    slope: float
    """Tangent of the radial side angle: how the edge falls back from the wall toward the arbor."""
    corner: float
    """Radius of the rounded outer corner, which both the rim and the edge touch; 0 if sharp."""
    rim: float
    """Radius at the tooth tips."""
    level: float
    """Height of the place in the wall above the arbor's axis, from 0 to less than `rim`."""

    @property
    def front(self) -> float:
        """How far in front of the axis the tips reach that height."""
        return math.sqrt(self.rim - self.level) * math.sqrt(self.rim + self.level)

    def falls_back(self, depth: Floats) -> Floats:
        """Return by how much the edge stands in from its outermost point, `depth` below the rim."""
        if not self.corner:
            return depth * self.slope
        below = depth - self.corner
        turn = math.atan(self.slope)
        ends = self.corner * math.sin(turn)
        arc = self.corner - np.sqrt(np.maximum(self.corner**2 - below**2, 0.0))
        line = self.corner * (1 - math.cos(turn)) + (below - ends) * self.slope
        back: Floats = np.where(below < ends, arc, line)
        return back

    def depth(self, behind: Floats) -> Floats:
        """Return how deep below the rim a place is that the tips' path has left `behind` it."""
        axis = np.hypot(self.front - behind, self.level)
        deep: Floats = behind * (2 * self.front - behind) / (self.rim + axis)
        return deep

    def outermost(self, lean: Floats) -> Floats:
        """Return the depth at which edges that lean outward by `lean` stand out most."""
        deep: Floats = self.corner * (1 + lean / np.hypot(1.0, lean))
        return deep

    def behind(self, depth: Floats) -> Floats:
        """Undo `depth`."""
        inner = np.sqrt((self.rim - depth) ** 2 - self.level**2)
        back: Floats = depth * (2 * self.rim - depth) / (self.front + inner)
        return back


@dataclass(frozen=True)
class Profile:
    """The wall along one turn of the feed, as straight pieces, each left by one tooth.

    Each piece begins where the one before ends. Heights are outward from the blade, deeper into
    the wood, and 0 where a blade without any fault would cut; where two of different height meet
    there is a step. All arrays have the shape (pieces,).
    """

    start: Floats
    end: Floats
    start_height: Floats
    end_height: Floats
    tooth: Ints

    @property
    def lengths(self) -> Floats:
        """Length of each piece."""
        return self.end - self.start

    @property
    def feed(self) -> float:
        """Length of the whole."""
        return float(self.end[-1] - self.start[0])

    @property
    def outermost(self) -> float:
        """Height of the deepest mark."""
        return float(max(self.start_height.max(), self.end_height.max()))

    @property
    def peak_to_valley(self) -> float:
        """From the deepest mark to the highest ridge left."""
        return self.outermost - float(min(self.start_height.min(), self.end_height.min()))

    @property
    def mean_deviation(self) -> float:
        """Mean distance from the mean line: Ra, without any filter.

        Exact for straight pieces: where one crosses the mean line, two triangles are added.
        """
        mean = float(np.sum(self.lengths * (self.start_height + self.end_height))) / 2 / self.feed
        one, other = self.start_height - mean, self.end_height - mean
        sizes = np.abs(one) + np.abs(other)
        squares = np.where(one * other < 0, one**2 + other**2, sizes**2)
        area = np.divide(squares, 2 * sizes, out=np.zeros_like(sizes), where=sizes > 0)
        return float(np.sum(area * self.lengths)) / self.feed

    def shares(self, teeth: int) -> Floats:
        """Return the share of the wall that each tooth leaves, shape (teeth,)."""
        left: Floats = np.bincount(self.tooth, self.lengths, teeth) / self.feed
        return left

    def numbered(self, numbers: Ints) -> Profile:
        """Return the same profile with other names for the teeth, shape (teeth,)."""
        return replace(self, tooth=numbers[self.tooth])

    def marks(self, teeth: int) -> int:
        """Return the number of marks a turn, from 1 to `teeth`: the strongest wave in the wall."""
        count = max(_SAMPLES * teeth, 512)
        at = self.start[0] + (np.arange(count) + 0.5) / count * self.feed
        along = np.column_stack([self.start, self.end]).ravel()
        height = np.column_stack([self.start_height, self.end_height]).ravel()
        waves = np.abs(np.fft.rfft(np.interp(at, along, height)))[1 : teeth + 1]
        return int(np.argmax(waves)) + 1


def envelope(
    place: ArrayLike, out: ArrayLike, lean: ArrayLike, feed: float, edge: SideEdge
) -> Profile:
    """Return the wall that is left when the teeth pass again and again.

    Each tooth keeps its own distance from the arbor's plane while it turns, so it passes a place
    of the wall every `feed` at the same distance out, first with its tip and then, turn by turn,
    with deeper parts of its side edge. The wall is what the pass that reaches farthest out leaves.
    A pass can only reach places that the tooth's tip has got to. Seen from one place, the passes
    of a tooth reach out more and more up to the outermost point of its edge and less and less
    behind it, so that only the two passes on either side of that point count; with sharp corners
    that point is the tip, and only its first pass.

    Between two points of the grid the pass that has the wall changes where the straight lines
    through both passes meet: exact for sharp corners, but for the curve of the rim.

    Parameters
    ----------
    place : array_like, shape (n,)
        How far along the feed each tooth's tip gets in a turn, growing by less than `feed` in all.
    out : array_like, shape (n,)
        How far each tip stands out toward the wall.
    lean : array_like, shape (n,)
        How much more the edge stands out for each unit of depth, below the edge's slope.

    Returns
    -------
    Profile
        One turn of the feed, up to the last place. Lengths in the unit of the input.
    """
    place, out, lean = (np.asarray(one, dtype=np.float64) for one in (place, out, lean))
    teeth = len(place)
    deepest = edge.outermost(lean)
    peak = edge.behind(deepest)
    tops = out + lean * deepest - edge.falls_back(deepest)

    def height(tooth: Ints | int, turn: Ints, at: Floats) -> Floats:
        behind = np.maximum(place[tooth] - at + turn * feed, 0.0)
        deep = edge.depth(behind)
        reach: Floats = out[tooth] + lean[tooth] * deep - edge.falls_back(deep)
        return reach

    before = np.concatenate([[place[-1] - feed], place[:-1]])
    steps = np.linspace(0.0, 1.0, max(_LEAST, math.ceil(_POINTS / teeth)) + 1)
    at = before[:, np.newaxis] + (place - before)[:, np.newaxis] * steps
    at[:, -1] = place
    best = np.full(at.shape, -np.inf)
    owner, owner_turn = np.zeros(at.shape, np.int64), np.zeros(at.shape, np.int64)
    cell = np.arange(teeth)[:, np.newaxis]
    for tooth in np.argsort(-tops, kind="stable"):
        if tops[tooth] <= best.min():
            break
        least = (tooth < cell).astype(np.int64)
        turns = [least]
        if edge.corner:
            gone = np.floor((peak[tooth] - (place[tooth] - at)) / feed).astype(np.int64)
            turns = [np.maximum(least, gone), np.maximum(least, gone + 1)]
        for turn in turns:
            reach = height(int(tooth), turn, at)
            wins = reach > best
            best = np.where(wins, reach, best)
            owner = np.where(wins, tooth, owner)
            owner_turn = np.where(wins, turn, owner_turn)
    left, right = np.s_[:, :-1], np.s_[:, 1:]
    changes = (owner[left] != owner[right]) | (owner_turn[left] != owner_turn[right])
    keeps = ~changes

    low, high = at[left][changes], at[right][changes]
    low_best, high_best = best[left][changes], best[right][changes]
    one, other = owner[left][changes], owner[right][changes]
    one_turn, other_turn = owner_turn[left][changes], owner_turn[right][changes]
    above, below = (
        low_best - height(other, other_turn, low),
        high_best - height(one, one_turn, high),
    )
    both = above + below
    part = np.divide(above, both, out=np.full_like(both, 0.5), where=both > 0)
    middle = np.minimum(low + part * (high - low), high)
    crossing = np.maximum(height(one, one_turn, middle), height(other, other_turn, middle))
    start = np.concatenate([at[left][keeps], low, middle])
    end = np.concatenate([at[right][keeps], middle, high])
    order = np.argsort(start, kind="stable")
    order = order[(end > start)[order]]
    return Profile(
        start[order],
        end[order],
        np.concatenate([best[left][keeps], low_best, crossing])[order],
        np.concatenate([best[right][keeps], crossing, high_best])[order],
        np.concatenate([owner[left][keeps], one, other])[order],
    )
