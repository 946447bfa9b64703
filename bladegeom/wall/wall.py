"""The wall of the kerf, from the wobble, the teeth and the feed: its marks and who finishes it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from bladegeom.estimate import Known
from bladegeom.faults import refuse
from bladegeom.fit.wobble import OfBlade, WobbleFit
from bladegeom.kinds import checked
from bladegeom.lengths import MM_PER, Length, Lengths, convert, length, lengths_mm
from bladegeom.readings import needed_sizes
from bladegeom.result import between, derived, described, number, quantity
from bladegeom.wall._envelope import Profile, SideEdge, envelope
from bladegeom.wobble import DETECTION_LEVEL, Wobble

Floats = NDArray[np.float64]

WALLS = {"toward": 1.0, "away": -1.0}
"""The wall on the indicator's side of the blade, and the other -> which way is outward."""

_RINGS, _SPOKES = (0.5, 1.0), 24
"""Where the 95 % region of the wobble is searched: rings, as parts of it, and points on each."""

_HELPS = 0.8
"""What brings the height of the marks below this part of it is worth naming."""

_MOST_NAMED = 6

_WHOLE = 0.995
"""From this share on a tooth has the wall to itself."""


class Finisher(NamedTuple):
    """A tooth, and its share of the wall with its 95 % limits; NaN where they are not known."""

    tooth: int
    share: float
    share_low: float
    share_high: float

    @property
    def words(self) -> str:
        """The 95 % limits of its share, in words; empty where these are not known."""
        if math.isnan(self.share_high):
            return ""
        low, high = (f"{100 * one:.0f}" for one in (self.share_low, self.share_high))
        return f" ({low} %)" if low == high else f" ({low} to {high} %)"


def _height(name: str, meaning: str, label: str, key: str | None = None) -> Any:
    def words(one: CutWall) -> str:
        return one.limits_words(getattr(one, name), one.unit)

    return quantity(meaning, key=key, parts=("", "_low", "_high"), label=label, text=words)


@described
class CutWall(OfBlade):
    """The simulated wall of the kerf. Lengths are in the unit of the readings.

    Limits are NaN here, None in `to_dict`, where nothing tells the doubt.
    """

    fit: WobbleFit = quantity("the blade's wobble", key="")
    profile: Profile = quantity("one turn of the feed", key="")

    @derived("unit of the readings and of all lengths")
    def unit(self) -> str:
        return self.fit.unit

    wall: str = quantity("on the indicator's side of the blade, `toward`, or the other, `away`")
    feed: float = quantity(
        "how far the board moves in one turn of the blade",
        key="feed_per_turn",
        label="feed",
        text=lambda one: one._cut_words(),
    )
    height: float = quantity(
        "height of the blade above the table, where the wall is taken: its marks are deepest there",
        key="blade_height",
    )
    side_angle_deg: float = quantity("radial side angle of the teeth")
    corner: float = quantity("radius of their outer corners, 0 where sharp")
    lateral: tuple[float, ...] | None = quantity(
        "side offset of each tooth, positive toward the indicator"
    )
    passing: str | None = quantity(
        "in which order of their numbers the teeth pass, growing or falling; None where it is not "
        "known, and growing was taken"
    )

    @derived(
        "marks in one turn of the feed, where all that the readings allow agree",
        key="marks_per_turn",
        label="marks",
        text=lambda one: one._marks_words(),
    )
    def marks(self) -> int | None:
        return self.marks_low if self.marks_low == self.marks_high else None

    marks_low: int | None = quantity(
        "fewest marks that the readings allow; None where nothing tells the doubt",
        key="marks_per_turn_low",
    )
    marks_high: int | None = quantity("most of them", key="marks_per_turn_high")

    @derived("from mark to mark along the feed; None where it is not established")
    def mark_pitch(self) -> float | None:
        return None if self.marks is None else self.feed / self.marks

    finishing: tuple[Finisher, ...] = quantity(
        "the teeth that leave a part of the wall, the largest share first", key=""
    )

    @derived(
        "the same, where there is ground to name them",
        key="finishing",
        label="finished by",
        text=lambda one: one._finishing_words(),
    )
    def _finishing(self) -> list[dict[str, float]] | None:
        return [one._asdict() for one in self.finishing] if self.named else None

    peak_to_valley: Known = _height("peak_to_valley", "height of the profile", "peak to valley")
    ra: Known = _height("ra", "mean deviation of the profile from its mean line", "Ra")
    out: Known = _height(
        "out",
        "farthest place of the wall, outward from that of a blade without wobble and offsets",
        "wall out by",
        key="wall_out",
    )
    half_feed: float = quantity(
        "peak to valley at half the feed",
        key="half_feed_peak_to_valley",
        label="what would help",
        text=lambda one: one._help_words(),
    )
    no_wobble: float = quantity(
        "peak to valley of the same teeth on a blade that does not wobble",
        key="no_wobble_peak_to_valley",
    )

    @derived("whether a wobble is established")
    def resolved(self) -> bool:
        return self.fit.resolved

    @property
    def named(self) -> bool:
        """Whether there is ground to name the finishing teeth: a wobble, or offsets given."""
        return self.fit.resolved or self.lateral is not None

    @property
    def side_words(self) -> str:
        """Which wall it is, in words."""
        return f"{'toward' if self.wall == 'toward' else 'away from'} the indicator"

    @property
    def headline(self) -> str:
        """Marks, their pitch and the teeth that finish, in words."""
        words = f"{self._marks_words()}: {self._finishing_words()}"
        return words[0].upper() + words[1:]

    def limits_words(self, value: Known, unit: str) -> str:
        """Return a height with its limits, or its upper limit where no wobble is established."""
        value = value.times(convert(1.0, self.unit, unit))
        # Rounded no finer than a twentieth, since much is not in the limits.
        spread = 0.0 if math.isnan(value.high) else (value.high - value.low) / 4
        doubt = max(spread, abs(value.value) / 20)
        said = f"{number(value.value, doubt)} {unit}"
        if math.isnan(value.high):
            why = "are not known"
            if math.isnan(self.fit.amplitude_u):
                why = "hang on the graduation, which is not stated"
            return f"{said} (its limits {why})"
        if not self.named:
            return f"at most {number(value.high, doubt)} {unit}: no wobble is established"
        return f"{said} (95 %: {between(value.low, value.high, doubt)})"

    def _title(self) -> str:
        return f"{self._named}: wall of the kerf {self.side_words}, in {self.unit}"

    def _cut_words(self) -> str:
        unit = self.unit
        corner = f", corners of {self.corner:.4g} {unit}" if self.corner else ", sharp corners"
        return (
            f"{self.feed:.4g} {unit} a turn, blade {self.height:.4g} {unit} high, side angle "
            f"{self.side_angle_deg:.4g} deg{corner}"
        )

    def _marks_words(self) -> str:
        if self.marks is None or self.mark_pitch is None:
            if self.marks_low is None:
                return "how many marks a turn cannot be told"
            return f"from {self.marks_low} to {self.marks_high} marks a turn"
        apart = f"{self.mark_pitch:.3g} {self.unit} apart"
        if self.marks == 1:
            return f"one mark a turn, {apart}"
        if self.marks == self.fit.readings.blade.teeth:
            return f"marks of every tooth, {apart}"
        return f"{self.marks} marks a turn, {apart}"

    def _finishing_words(self) -> str:
        if not self.named:
            return "no wobble is established, so no tooth is named"
        first, teeth = self.finishing[0], self.fit.readings.blade.teeth
        if len(self.finishing) == 1 and first.share_low > _WHOLE:
            return f"tooth {first.tooth} alone finishes this wall"
        if len(self.finishing) == teeth and first.share_high < 1.5 / teeth:
            return "all teeth finish it alike"
        said = [f"{one.tooth}{one.words}" for one in self.finishing]
        if len(said) > _MOST_NAMED:
            return f"many of the teeth finish this wall, the largest part tooth {said[0]}"
        if len(said) == 1:
            return f"tooth {said[0]} finishes this wall"
        return f"teeth {', '.join(said[:-1])} and {said[-1]} finish this wall"

    def _help_words(self) -> str:
        if not self.named:
            return "no wobble is established: nothing to name"
        high, unit = self.peak_to_valley.value, self.unit
        ways = []
        if self.fit.resolved and self.no_wobble < _HELPS * high:
            ways.append(
                f"a clean seat and a remount: with no wobble {self.no_wobble:.2g} {unit} from peak "
                "to valley would be left"
            )
        if self.half_feed < _HELPS * high:
            ways.append(f"half the feed: {self.half_feed:.2g} {unit}, where the manual allows it")
        return "; ".join(ways) or "neither half the feed nor a truer seat, as far as this can tell"

    def _remarks(self) -> Sequence[str]:
        return [*self.assumed, *super()._remarks()]

    @property
    def assumed(self) -> tuple[str, ...]:
        """What the numbers rest on, in words."""
        said = [
            "Taken as given: feed, side angle, corners and offsets; a thin rigid plate that stands "
            "parallel to the feed. The limits hold the doubt in the readings and nothing else: "
            "no vibration, no grain or spring of the wood, no worn teeth.",
            "Only teeth that enter the wood are counted. Those that leave it can only lower the "
            "ridges while the blade is parallel; with heel they mark one wall anew.",
            "At the table, where the marks are deepest. Ra over one turn of the feed, without a "
            "filter: an instrument's own filter shows another figure.",
        ]
        if self.lateral is None:
            said.append("All teeth are taken to be ground alike: no lateral offsets were given.")
        if self.passing is None:
            said.append(
                "Which way the teeth pass is not known (blade numbered clockwise or "
                "counterclockwise, indicator on the left or right side): in growing order here."
            )
        if self.fit.readings.blade.tooth_pattern is not None:
            said.append(
                "The blade has teeth of several kinds: each is taken to have its corner on this "
                "wall at the full radius, but for the offsets."
            )
        if math.isnan(self.out.high) and math.isfinite(self.fit.amplitude_u):
            said.append(
                "The readings leave so much doubt that the plate itself might touch the wood: read "
                "more teeth for limits."
            )
        said.append("How a wall looks says nothing about safety: the saw's manual comes first.")
        return tuple(said)


@checked
def cut_wall(
    fit: WobbleFit,
    *,
    side_angle_deg: float,
    feed_per_turn: Length,
    height: Length,
    corner: Length | None = None,
    lateral: Lengths | None = None,
    side: str = "toward",
) -> CutWall:
    """Simulate the wall that the teeth leave, at the table.

    The wobble is fixed in the blade, so each tooth runs in a plane of its own, square to the
    arbor: tooth k, at the blade angle t_k, cuts ``A_R cos(t_k - near)`` farther toward the
    indicator than on a true blade, A_R the amplitude at the rim; its lateral offset comes on top.
    The tips pass the wall ``feed / N`` apart for N evenly spaced teeth, and each comes again one
    feed further on. How far a tooth reaches out at a place that its tip has passed is told by its
    side edge. The radial side angle k makes the edge fall back by ``tan(k)`` for each unit of depth
    below the rim, and at a height y above the arbor's axis a place gets deeper by
    ``cos(p) = sqrt(1 - (y / R)^2)`` for each unit of feed.
    A tilted rigid plate tilts the edges of its teeth too, which changes ``tan(k)`` by
    ``A_R cos(t_k - near) / R`` on the wall toward the indicator. The tangential relief behind a
    tooth's face leaves no mark: the flank follows the edge on the edge's own path.
    `bladegeom.wall._envelope.envelope` finds what the passes leave together.

    What the simulation contains (own derivations, sharp corners, ``s = cos(p) tan(k)``):

    - All teeth alike, no wobble: a mark from every tooth, ``(feed / N) s`` deep. One tooth alone:
      one mark a turn, ``feed s`` deep. Either way steps with straight ramps, Ra a quarter of it.
    - Every tooth leaves some of the wall while none reaches past the one before it by more than
      ``(feed / N) s``, that is up to about ``2 pi A_R = feed s``. Past that, some never touch.
    - Marks once a turn are the strongest wave in the wall already from about
      ``A_R = feed s / (pi N)``.
    - Corners rounded to a radius r, marks a distance e apart along the radius with
      ``e <= 2 r sin(k)``: arcs that leave ridges ``r - sqrt(r^2 - e^2 / 4)`` high, about
      ``e^2 / (8 r)``, the cutter-mark relation of peripheral milling (from memory; there the
      radius is the cutter's), with Ra ``4 / (9 sqrt(3))`` of it.

    Parameters
    ----------
    fit : WobbleFit
        Of a blade with its diameter, read at a stated ring radius.
    side_angle_deg : float
        Radial side angle of the teeth, between the side edge and the plate along the radius. More
        than the tilt of the plate, or it is not the tips that cut the wall.
    feed_per_turn : length, such as ``"1.2 mm"`` or ``(1.2, "mm")``
        How far the board moves in one turn of the blade, its speed over the arbor's.
    height : length
        Height of the blade above the table, up to its radius.
    corner : length, optional
        Radius of the teeth's outer corners; sharp if not given.
    lateral : lengths, optional
        Of each tooth: how far its corner on this wall stands toward the indicator beyond where one
        like the others would: of grinding, set, a bent tooth; not the wobble. A corner that a bevel
        brings down by b stands in by about ``b tan(k)``.
    side : {"toward", "away"}
        The wall on the indicator's side, or the other.

    Returns
    -------
    CutWall
        Its limits are the least and the most over the joint 95 % region of the wobble's two parts,
        searched at some fifty points: conservative for each. They hold the doubt in the readings
        alone. Ra is the arithmetical mean deviation of ISO 21920-2 (before it, ISO 4287; from
        memory), over one turn of the feed and without a filter.

    Raises
    ------
    RefusedError

    Notes
    -----
    The blade is taken to stand parallel to the feed, and only the teeth that enter the wood cut:
    the front of a table saw. Those that leave it pass in the same planes again, which can only
    lower ridges. The teeth of a table saw go down at the front, so that, seen from its left side,
    the blade turns clockwise: numbers that run the same way pass in falling order. While a tooth
    turns from one place of the wall to the next the board moves on too, which shifts places behind
    the tips by about ``feed / (2 pi R)`` of their distance: not in the simulation.
    """
    if side not in WALLS:
        raise refuse(
            f"side is {side!r}",
            "write toward (the wall on the indicator's side) or away",
            value=side,
            column="side",
        )
    unknown = "nothing is known of the wobble at the tips"
    rim, _ = needed_sizes(fit.readings, unknown, "diameter", "ring_radius")
    assert fit.slope is not None  # Nor is the ring's radius missing.
    blade, unit = fit.readings.blade, fit.unit
    feed = _needed("feed_per_turn", feed_per_turn, unit)
    tall = _needed("height", height, unit)
    rounded = 0.0 if corner is None else _needed("corner", corner, unit)
    edge = _edge(side_angle_deg, rounded, rim, tall, feed, unit)
    offsets = None if lateral is None else _offsets(fit, lateral)
    passing = _passing(fit)
    around = -blade.angles_deg if passing == "falling" else blade.angles_deg
    place = feed * (around % 360.0) / 360.0
    order = np.argsort(place)
    angles = np.radians(blade.angles_deg)
    waves = WALLS[side] * rim * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    beyond = np.zeros(blade.teeth) if offsets is None else WALLS[side] * offsets

    def wall(parts: Floats, fed: float = 1.0) -> Profile:
        wobble = waves @ parts
        out = wobble + beyond
        return envelope(fed * place[order], out[order], -wobble[order] / rim, fed * feed, edge)

    found = np.array([fit.slope.cosine, fit.slope.sine])
    region = _region(fit.slope, found)
    if not fit.resolved and len(region):
        region = np.concatenate([region, np.zeros((1, 2))])
    if (np.linalg.norm(region, axis=1) >= edge.slope).any():
        region = region[:0]  # Doubt so large bounds nothing: the plate itself might cut.
    tilt = float(np.linalg.norm(found))
    if edge.slope <= tilt:
        raise refuse(
            f"the plate is tilted by {math.degrees(math.atan(tilt)):.2g} deg, no less than the "
            "side angle of the teeth",
            "check side_angle_deg and ring_radius, or remount the blade: its teeth would rub",
            value=f"{math.degrees(math.atan(edge.slope)):.4g}",
            column="side_angle",
        )
    best = wall(found)
    told = np.array([_told(one, order) for one in (best, *(wall(parts) for parts in region))])
    value = told[0]
    low, high = told.min(axis=0), told.max(axis=0)
    known = len(region) > 0
    if not known:
        low, high = np.full_like(low, math.nan), np.full_like(high, math.nan)
    out, height_of, ra = (
        Known(float(value[i]), low=float(low[i]), high=float(high[i])) for i in (1, 2, 3)
    )
    shares = zip(value[4:], low[4:], high[4:], strict=True)
    finishing = [
        Finisher(tooth, *map(float, share)) for tooth, share in enumerate(shares, 1) if share[0] > 0
    ]
    return CutWall(
        fit=fit,
        wall=side,
        feed=feed,
        height=tall,
        side_angle_deg=float(side_angle_deg),
        corner=edge.corner,
        lateral=None if offsets is None else tuple(map(float, offsets)),
        passing=passing,
        profile=best.numbered(order + 1),
        peak_to_valley=height_of,
        ra=ra,
        out=out,
        finishing=tuple(sorted(finishing, key=lambda one: -one.share)),
        marks_low=int(low[0]) if known else None,
        marks_high=int(high[0]) if known else None,
        half_feed=wall(found, 0.5).peak_to_valley,
        no_wobble=wall(np.zeros(2)).peak_to_valley,
    )


def _told(profile: Profile, order: NDArray[np.int64]) -> Floats:
    """Return marks a turn, outermost place, peak to valley, Ra, and the share of every tooth."""
    teeth = len(order)
    shares = np.empty(teeth)
    shares[order] = profile.shares(teeth)
    heights = profile.outermost, profile.peak_to_valley, profile.mean_deviation
    return np.array([profile.marks(teeth), *heights, *shares])


def _region(slope: Wobble, found: Floats) -> Floats:
    """Return points of the joint 95 % region of (cosine, sine), none where it is not known.

    ``(beta - b)' C^-1 (beta - b) <= 2 F(0.95; 2, dof)``, with the quantile in closed form (see
    `bladegeom.kernel.doubt.zero_amplitude_p`).
    """
    covariance, dof = slope.rounded_covariance, slope.dof
    if not np.isfinite(covariance).all():
        return np.empty((0, 2))
    variance, axes = np.linalg.eigh(covariance)
    reach = math.sqrt(dof * math.expm1(-2 / dof * math.log(1 - DETECTION_LEVEL)))
    turn = 2 * math.pi * np.arange(_SPOKES) / _SPOKES
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    discs = np.concatenate([part * reach * circle for part in _RINGS])
    region: Floats = found + discs * np.sqrt(np.maximum(variance, 0.0)) @ axes.T
    return region


def _needed(what: str, given: Length, unit: str) -> float:
    found = length(what, given)
    if found is None:
        raise refuse(f"{what} is not given", 'give it as "1.5 in" or (1.5, "in")', column=what)
    return convert(*found, unit)


def _edge(
    angle_deg: float, corner: float, rim: float, height: float, feed: float, unit: str
) -> SideEdge:
    if isinstance(angle_deg, bool | str) or not 0 < angle_deg < 45:
        raise refuse(
            f"side_angle_deg is {angle_deg}",
            "give the radial side angle of the teeth, above 0 and below 45 degrees",
            value=angle_deg,
            column="side_angle",
        )
    if height > rim * (1 + 1e-12):
        raise refuse(
            f"the blade is {height:.6g} {unit} high",
            f"give a height up to the blade's radius, {rim:.6g} {unit}",
            value=height,
            column="height",
        )
    edge = SideEdge(math.tan(math.radians(angle_deg)), corner, rim, max(0.0, rim - height))
    if 2 * corner >= height or edge.behind(np.array(2 * corner)) + 2 * feed >= edge.front:
        rounded = f" with corners of {corner:.4g} {unit}" if corner else ""
        raise refuse(
            f"a blade {height:.4g} {unit} high{rounded} is too low for a feed of {feed:.4g} "
            f"{unit} a turn",
            "check height, feed_per_turn and corner",
            value=feed,
            column="feed_per_turn",
        )
    return edge


def _offsets(fit: WobbleFit, given: Lengths) -> Floats:
    """Return the teeth's side offsets in the unit of the readings."""
    offsets, _ = lengths_mm("lateral", given)
    blade = fit.readings.blade
    if len(offsets) != blade.teeth:
        raise refuse(
            f"lateral has {len(offsets)} values, the blade {blade.teeth} teeth",
            "give one offset for each tooth, tooth 1 first, 0 where there is none",
            value=len(offsets),
            blade=blade.name,
            column="lateral",
        )
    return offsets / MM_PER[fit.unit]


def _passing(fit: WobbleFit) -> str | None:
    """Return in which order of their numbers the teeth pass a place in front of the arbor."""
    numbered, side = fit.readings.blade.numbered, fit.readings.side
    if numbered is None or side not in ("left", "right"):
        return None
    turning = "clockwise" if side == "left" else "counterclockwise"
    return "falling" if numbered == turning else "growing"
