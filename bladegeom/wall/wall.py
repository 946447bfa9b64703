"""From the wobble, the teeth and the feed to the wall of the kerf."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from bladegeom.faults import Fault, RefusedError, refuse
from bladegeom.fit.wobble import WobbleFit
from bladegeom.lengths import MM_PER, convert, lengths_mm, one_length_mm
from bladegeom.wall.cut_surface import CutWall, Finisher, Limited
from bladegeom.wall.envelope import Profile, SideEdge, envelope
from bladegeom.wobble import DETECTION_LEVEL

Floats = NDArray[np.float64]

WALLS = {"toward": 1.0, "away": -1.0}
"""The wall on the indicator's side of the blade, and the other -> which way is outward."""

_RINGS, _SPOKES = (0.5, 1.0), 24
"""Where the 95 % region of the wobble is searched: rings, as parts of it, and points on each."""


def cut_wall(
    fit: WobbleFit,
    *,
    side_angle_deg: float,
    feed_per_turn_mm: float | None = None,
    feed_per_turn_in: float | None = None,
    height_mm: float | None = None,
    height_in: float | None = None,
    corner_mm: float | None = None,
    corner_in: float | None = None,
    lateral_mm: ArrayLike | None = None,
    lateral_in: ArrayLike | None = None,
    lateral_um: ArrayLike | None = None,
    side: str = "toward",
) -> CutWall:
    """Simulate the wall that the teeth leave, at the table.

    The wobble is fixed in the blade, so each tooth runs in a plane of its own, square to the
    arbor: tooth k, at the blade angle t_k, cuts ``A_R cos(t_k - near)`` farther toward the
    indicator than on a true blade, whatever the rotation, A_R the amplitude at the rim; its
    lateral offset comes on top. The tips pass the wall one after the other, ``feed / N`` apart
    for N evenly spaced teeth, and each comes again one feed further on. How far a tooth reaches
    out at a place that its tip has passed is told by its side edge. The radial side angle k makes
    the edge fall back by ``tan(k)`` for each unit of depth below the rim, and at a height y above
    the arbor's axis a place gets deeper by ``cos(p) = sqrt(1 - (y / R)^2)`` for each unit of feed.
    A tilted rigid plate tilts the edges of its teeth too, which changes ``tan(k)`` by
    ``A_R cos(t_k - near) / R`` on the wall toward the indicator. The tangential relief behind a
    tooth's face leaves no mark: the flank follows the edge on the edge's own path.
    `bladegeom.wall.envelope.envelope` finds what the passes leave together.

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
        Radial side angle of the teeth, between the side edge and the plate along the radius, in
        degrees. More than the tilt of the plate, or it is not the tips that cut the wall.
    feed_per_turn_mm, feed_per_turn_in : float
        How far the board moves in one turn of the blade: its speed over the arbor's.
    height_mm, height_in : float
        Height of the blade above the table, up to its radius.
    corner_mm, corner_in : float, optional
        Radius of the teeth's outer corners; sharp if not given.
    lateral_mm, lateral_in, lateral_um : array_like, shape (teeth,), optional
        How far each tooth's corner on this wall stands toward the indicator beyond where one like
        the others would: of grinding, set, a bent tooth; not the wobble. A corner that a bevel
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
        If diameter or ring radius is missing, or a length or angle cannot be true.

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
    rim, ring = _radii(fit)
    blade, unit = fit.readings.blade, fit.unit
    feed = _needed("feed_per_turn", {"mm": feed_per_turn_mm, "in": feed_per_turn_in}, unit)
    height = _needed("height", {"mm": height_mm, "in": height_in}, unit)
    corner = one_length_mm("corner", {"mm": corner_mm, "in": corner_in})
    edge = _edge(side_angle_deg, convert(corner or 0.0, "mm", unit), rim, height, feed, unit)
    lateral = _lateral(fit, {"mm": lateral_mm, "in": lateral_in, "um": lateral_um})
    passing = _passing(fit)
    around = -blade.angles_deg if passing == "falling" else blade.angles_deg
    place = feed * (around % 360.0) / 360.0
    order = np.argsort(place)
    angles = np.radians(blade.angles_deg)
    waves = WALLS[side] * rim / ring * np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    offsets = np.zeros(blade.teeth) if lateral is None else WALLS[side] * lateral

    def wall(parts: Floats, fed: float = 1.0) -> Profile:
        wobble = waves @ parts
        out = wobble + offsets
        return envelope(fed * place[order], out[order], -wobble[order] / rim, fed * feed, edge)

    found = np.array([fit.cosine, fit.sine])
    region = _region(fit, found)
    _check_tilt(edge.slope, float(np.linalg.norm([found, *region], axis=1).max()) / ring)
    best = wall(found)
    told = np.array([_told(one, order) for one in (best, *(wall(parts) for parts in region))])
    value = told[0]
    low, high = told.min(axis=0), told.max(axis=0)
    known = len(region) > 0
    if not known:
        low, high = np.full_like(low, math.nan), np.full_like(high, math.nan)
    out, height_of, ra = (Limited(*map(float, (value[i], low[i], high[i]))) for i in (1, 2, 3))
    shares = zip(value[4:], low[4:], high[4:], strict=True)
    finishing = [
        Finisher(tooth, *map(float, share)) for tooth, share in enumerate(shares, 1) if share[0] > 0
    ]
    return CutWall(
        fit=fit,
        wall=side,
        feed=feed,
        height=height,
        side_angle_deg=float(side_angle_deg),
        corner=edge.corner,
        lateral=None if lateral is None else tuple(map(float, lateral)),
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


def _region(fit: WobbleFit, found: Floats) -> Floats:
    """Return points of the joint 95 % region of (cosine, sine), none where it is not known.

    ``(beta - b)' C^-1 (beta - b) <= 2 F(0.95; 2, dof)``, with the quantile in closed form (see
    `bladegeom.kernel.doubt.zero_amplitude_p`). No wobble at all is among them where the test of
    `WobbleFit.resolved` allows it.
    """
    covariance = fit.rounded_covariance
    if not np.isfinite(covariance).all():
        return np.empty((0, 2))
    variance, axes = np.linalg.eigh(covariance)
    reach = math.sqrt(fit.dof * math.expm1(-2 / fit.dof * math.log(1 - DETECTION_LEVEL)))
    turn = 2 * math.pi * np.arange(_SPOKES) / _SPOKES
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    discs = np.concatenate([part * reach * circle for part in _RINGS])
    region: Floats = found + discs * np.sqrt(np.maximum(variance, 0.0)) @ axes.T
    return region if fit.resolved else np.concatenate([region, np.zeros((1, 2))])


def _radii(fit: WobbleFit) -> tuple[float, float]:
    """Return rim and ring radius in the unit of the readings."""
    blade, ring = fit.readings.blade, fit.readings.ring_radius_mm
    rim = blade.radius_mm
    if rim is not None and ring is not None:
        return convert(rim, "mm", fit.unit), convert(ring, "mm", fit.unit)
    needed = (
        (rim, "diameter", "the blade's diameter", "give it across the tooth tips"),
        (ring, "ring_radius", "the ring radius", "give it from the arbor's axis to the stylus"),
    )
    raise RefusedError(
        Fault(
            f"{what} is not stated, so nothing is known of the wobble at the tips",
            cure,
            blade=blade.name or None,
            column=name,
        )
        for value, name, what, cure in needed
        if value is None
    )


def _needed(what: str, given: dict[str, float | None], unit: str) -> float:
    length = one_length_mm(what, given)
    if length is None:
        raise refuse(f"{what} is not given", f"give {what}_mm or {what}_in", column=what)
    return convert(length, "mm", unit)


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


def _lateral(fit: WobbleFit, given: dict[str, ArrayLike | None]) -> Floats | None:
    """Return the offsets in the unit of the readings."""
    if all(values is None for values in given.values()):
        return None
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


def _check_tilt(slope: float, tilt: float) -> None:
    if slope <= tilt:
        raise refuse(
            f"the plate may be tilted by {math.degrees(math.atan(tilt)):.2g} deg, no less than the "
            "side angle of the teeth",
            "check side_angle_deg and ring_radius, or remount the blade: its teeth would rub",
            value=f"{math.degrees(math.atan(slope)):.4g}",
            column="side_angle",
        )
