"""Many blades on one arbor: the shared flange, blades measured once, and what cannot be done."""

from __future__ import annotations

import cmath
import json
import math

import GTC
import numpy as np
import pytest
from mounted_body import fit_of, mounted_fit, tilted
from numpy.testing import assert_allclose
from rigid_body import RigidBlade
from scipy import special
from simulated import rng_for

from bladegeom.arbor._mountings import Mounted, Mountings, arbor_design
from bladegeom.arbor.arbor import fleet_arbor, separate_arbor
from bladegeom.faults import RefusedError

FLANGE = cmath.rect(0.030, math.radians(200.0))
BLADES = {
    "A": (cmath.rect(0.050, 0.7), [0.0, 180.0]),
    "B": (cmath.rect(0.020, 2.0), [30.0, 150.0, 270.0]),
    "C": (cmath.rect(0.070, 5.0), [75.0]),
}


def fleet_of(blades=BLADES, scatter=0.0, rng=None, **facts):
    fleet = {}
    for name, (blade, clocks) in blades.items():
        fits = []
        for clock in clocks:
            off = complex(*rng.normal(0, scatter, 2)) if rng is not None else 0.0
            wobble = blade + FLANGE * cmath.exp(-1j * math.radians(clock)) + off
            fits.append(fit_of(wobble, name=name, **facts))
        fleet[name] = (fits, clocks)
    return fleet


@pytest.mark.parametrize("numbered", ["clockwise", "counterclockwise"])
def test_rigid_blades_of_two_sizes_come_free_of_the_flange_they_share(numbered):
    flange = RigidBlade(0.02, 300.0, numbered)
    plates = {
        "big": (RigidBlade(0.04, 25.0, numbered), 110.0, [0.0, 90.0]),
        "small": (RigidBlade(0.03, 190.0, numbered), 80.0, [45.0, 200.0]),
        "once": (RigidBlade(0.05, 100.0, numbered), 95.0, [130.0]),
    }
    found = fleet_arbor(
        {
            name: ([mounted_fit(plate, flange, one, ring_mm=ring) for one in clocks], clocks)
            for name, (plate, ring, clocks) in plates.items()
        }
    )
    # The square of the tilts is left out.
    assert found.flange_vector == pytest.approx(tilted(flange, 110.0), abs=3e-6 * 0.1)
    assert found.ring_radius == pytest.approx(110.0)
    for name, (plate, ring, clocks) in plates.items():
        one = found.blade(name)
        assert one.wobble.value == pytest.approx(tilted(plate, ring), abs=3e-6 * 0.1)
        assert one.ring_radius == pytest.approx(ring)
        assert one.positions == len(clocks)


def test_one_blade_is_separate_arbor():
    clocks = [0.0, 0.0, 120.0, 240.0]
    fleet = fleet_of({"A": (0.05, clocks)}, scatter=0.002, rng=rng_for(1))
    found, alone = fleet_arbor(fleet), separate_arbor(*fleet["A"])
    assert found.flange_vector == pytest.approx(alone.flange_vector)
    assert found.blades[0].wobble.value == pytest.approx(alone.blade_vector)
    assert_allclose(found.covariance, alone.covariance[2:, 2:])
    assert_allclose(found.blades[0].wobble.covariance, alone.covariance[:2, :2])
    assert (found.chi_square, found.chi_square_dof) == (alone.chi_square, alone.chi_square_dof)
    assert found.p_value == alone.p_value
    assert (found.seating_sd, found.dof) == (alone.seating_sd, alone.dof)
    assert (found.seating_low, found.seating_high) == (alone.seating_low, alone.seating_high)


def test_a_blade_measured_once_tells_nothing_of_the_flange_and_is_corrected_by_it():
    fleet = fleet_of(scatter=0.003, rng=rng_for(2))
    found = fleet_arbor(fleet)
    without = fleet_arbor({name: fleet[name] for name in "AB"})
    assert found.flange_vector == pytest.approx(without.flange_vector)
    assert_allclose(found.covariance, without.covariance, atol=1e-18)
    assert found.seating_sd == pytest.approx(without.seating_sd)
    (fit,), (clock,) = fleet["C"]
    turn = cmath.exp(-1j * math.radians(clock))
    once = found.blade("C").wobble
    expected = complex(fit.cosine, fit.sine) - found.flange_vector * turn
    assert once.value == pytest.approx(expected)
    # Its doubt is that of the reading, of its own seating, and of the flange, turned.
    assert found.seating_sd > 0
    own = fit.rounded_covariance + found.seating_sd**2 * np.eye(2)
    turned = np.array([[turn.real, -turn.imag], [turn.imag, turn.real]])
    assert_allclose(once.covariance, own + turned @ found.covariance @ turned.T, atol=1e-15)


def test_the_corrected_doubt_is_gtcs():
    fleet = fleet_of({name: BLADES[name] for name in "AC"})
    found = fleet_arbor(fleet)
    assert found.seating_sd is None
    seen = {
        name: [
            GTC.ucomplex(complex(fit.cosine, fit.sine), fit.amplitude_u, df=fit.dof) for fit in fits
        ]
        for name, (fits, _) in fleet.items()
    }
    flange = (seen["A"][0] - seen["A"][1]) / 2
    once = seen["C"][0] - flange * cmath.exp(-1j * math.radians(75.0))
    wobble = found.blade("C").wobble
    assert wobble.value == pytest.approx(GTC.value(once))
    variance = GTC.variance(once)
    expected = [[variance.rr, variance.ri], [variance.ir, variance.ii]]
    assert_allclose(wobble.covariance, expected, rtol=1e-7, atol=1e-15)
    # Welch and Satterthwaite: half of one reading's variance twice a quarter, and one whole.
    n = fleet["C"][0][0].dof
    assert wobble.dof == pytest.approx(1.5**2 / (1 / n + 2 * 0.25**2 / n))
    assert "nothing is left over" in found.warnings[-1]


def test_more_blades_make_the_flange_surer():
    few = fleet_arbor(fleet_of({"A": BLADES["A"]}))
    many = fleet_arbor(fleet_of({str(n): (0.01 * n, [0.0, 180.0]) for n in range(8)}))
    assert many.flange_wobble.amplitude_u == pytest.approx(few.flange_wobble.amplitude_u / 8**0.5)
    assert many.dof > few.dof


def test_a_blade_without_clock_positions_cannot_be_corrected():
    fleet = fleet_of(scatter=0.002, rng=rng_for(3))
    whole = fleet_arbor(fleet)
    (fit,), _ = fleet["C"]
    for clocks in (None, [None]):
        found = fleet_arbor({**fleet, "C": ([fit], clocks)})
        assert list(found.not_corrected) == ["C"]
        assert "phase was not kept" in found.not_corrected["C"]
        assert "blade C: the arbor's phase was not kept" in str(found)
        assert [one.name for one in found.blades] == ["A", "B"]
        assert found.flange_vector == pytest.approx(whole.flange_vector)
        with pytest.raises(RefusedError, match="blade C: the arbor's phase was not kept"):
            found.blade("C")


def test_a_mounting_without_a_clock_position_is_left_out_and_said():
    fleet = fleet_of(scatter=0.002, rng=rng_for(3))
    fits, clocks = fleet["B"]
    found = fleet_arbor({**fleet, "B": (fits, [clocks[0], None, clocks[2]])})
    short = fleet_arbor({**fleet, "B": ([fits[0], fits[2]], [clocks[0], clocks[2]])})
    assert found.flange_vector == short.flange_vector
    assert found.warnings[0] == "blade B: 1 of its mountings without clock_deg are left out"


def test_in_a_sequence_blades_go_by_their_names_or_places():
    fleet = fleet_of(scatter=0.002, rng=rng_for(4))
    named = fleet_arbor(list(fleet.values()))
    assert [one.name for one in named.blades] == ["A", "B", "C"]
    plain = [([fit_of(0.1 + FLANGE), fit_of(0.1 - FLANGE)], [0.0, 180.0])] * 2
    assert [one.name for one in fleet_arbor(plain).blades] == ["1", "2"]


def test_without_ring_radii_one_ring_is_taken_and_said():
    found = fleet_arbor(fleet_of(ring=None))
    assert found.ring_radius is None
    assert "taken as read at one ring" in found.warnings[0]
    assert found.flange_vector == pytest.approx(FLANGE)


def test_blades_that_do_not_agree_on_the_flange_are_told():
    fleet = fleet_of({name: (0.04, [0.0, 0.0, 180.0, 180.0]) for name in "ABC"}, bend=0.002)
    assert fleet_arbor(fleet).p_value > 0.5
    fits, clocks = fleet["C"]
    found = fleet_arbor({**fleet, "C": (fits, [clock + 90.0 for clock in clocks])})
    assert found.p_value < 1e-6
    assert "arbor's mark was kept" in found.warnings[-1]


def test_values_and_frame():
    found = fleet_arbor(fleet_of(scatter=0.002, rng=rng_for(5)))
    values = found.to_dict()
    assert json.loads(json.dumps(values, allow_nan=False)) == values
    assert [one["blade"] for one in values["blades"]] == ["A", "B", "C"]
    assert values["blades"][2]["blade_amplitude"] == abs(found.blade("C").wobble.value)
    frame = found.to_frame()
    assert list(frame["positions"]) == [2, 3, 1]
    text = str(found)
    assert text.startswith("3 blades on one arbor, 2 of them at two or more clock positions")
    assert "from 1 mounting at 1 clock position" in text
    with pytest.raises(RefusedError, match="no such blade"):
        found.blade("Z")


ONCE = [fit_of(0.03, name="A")]


@pytest.mark.parametrize(
    ("blades", "word"),
    [
        ({}, "no blade is given"),
        ({"A": (ONCE, None), "B": (ONCE, [None])}, "no clock position is given for any blade"),
        ({"A": (ONCE, [0.0]), "B": (ONCE, [180.0])}, "no blade was read at two clock positions"),
        ({"A": (ONCE * 2, [0.0, 5.0])}, "no blade was read at two clock positions"),
        ({"A": (ONCE * 2, [0.0, math.nan])}, "clock_deg is nan"),
        ({"A": (ONCE * 2, [0.0])}, "1 clock positions for 2 mountings"),
        ({"A": ([], [])}, "no mounting is given"),
        ([(ONCE, [0.0]), (ONCE, [180.0])], "two blades go by the name A"),
        ({"A": (ONCE * 2, [0.0, 180.0]), "B": ([fit_of(0.03, ring=None)], [0.0])}, "only one"),
        (
            {"A": (ONCE * 2, [0.0, 180.0]), "B": ([fit_of(0.03, surface="teeth")], [0.0])},
            "surface is 'plate' for blade A and 'teeth' for blade B",
        ),
        ({"A": ([fit_of(0.03), fit_of(0.03, ring=90.0)], [0.0, 180.0])}, "ring of 100 mm"),
    ],
)
def test_refused(blades, word):
    with pytest.raises(RefusedError, match=word):
        fleet_arbor(blades)


@pytest.mark.parametrize("seating", [1.0, 5.0])
def test_limits_hold_as_often_as_they_say(seating):
    # Three blades at two positions and one measured once, its own limits and the flange's; the
    # kernels of fleet_arbor, many fleets at a time, with known-variance fits of 37 degrees.
    clock = np.array([0.0, 180.0, 90.0, 270.0, 45.0, 165.0, 300.0])
    blade = np.array([0, 0, 1, 1, 2, 2, 3])
    count, sure = 2000, 37.0
    rng = rng_for(30)
    turn = np.exp(-1j * np.radians(clock))
    own = rng.normal(size=(count, 4)) + 1j * rng.normal(size=(count, 4))
    scatter = math.hypot(1.0, seating) * (
        rng.normal(size=(count, 7)) + 1j * rng.normal(size=(count, 7))
    )
    measured = own[:, blade] + 20.0 * turn + scatter
    variance = rng.chisquare(sure, (count, 7)) / sure
    covariance = variance[..., None, None] * np.eye(2)
    given = Mounted(measured, covariance, np.full(7, sure))
    fleet = Mountings(given, arbor_design(clock, blade))
    found = fleet.seating_variance(fleet.dof)
    solved = fleet.solved(found)
    for at, truth in ((6, own[:, 3]), (8, np.full(count, 20.0))):
        rows = slice(at, at + 2)
        dof = fleet.dof_of(found, solved.share[:, rows])
        off = solved.values[:, rows] - np.stack([truth.real, truth.imag], axis=-1)
        sd = np.sqrt(solved.covariance[:, at, at])
        held = np.abs(off[:, 0]) <= special.stdtrit(dof, 0.975) * sd
        inverse = np.linalg.inv(solved.covariance[:, rows, rows])
        within = np.einsum("ni,nij,nj->n", off, inverse, off) <= 2 * special.fdtri(2, dof, 0.95)
        strays = 4 * math.sqrt(0.95 * 0.05 / count)
        for share in (held.mean(), within.mean()):
            assert share > 0.95 - strays
            assert share < 0.95 + strays or seating < 2
    one = Mountings(Mounted(measured[0], covariance[0]), arbor_design(clock, blade))
    assert one.seating()[0] ** 2 == pytest.approx(found[0])
