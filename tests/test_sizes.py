"""Sizes that no saw has are refused with the cure; unusual ones are asked about first."""

from __future__ import annotations

import csv
import json

import numpy as np
import pytest
from simulated import rng_for
from written import run, save

import bladegeom as bg
from bladegeom.columns import STATED
from bladegeom.sizes import MM_PER, SIZES, misfit

TEETH = 40
FACTS = {"diameter": "254 mm", "ring_radius": "110 mm", "graduation": "0.002 mm"}
OF_BLADE = {name for name, one in STATED.items() if one.of == "blade"}


def read_mm(times=1.0):
    angle = 2 * np.pi * np.arange(TEETH) / TEETH
    return times * (0.08 * np.cos(angle - 2.0) + rng_for(6).normal(0, 0.002, TEETH)).round(4)


def readings(reading=None, **facts):
    facts = {**FACTS, **facts}
    of_blade = {name: facts.pop(name) for name in [*facts] if name in OF_BLADE}
    reading = read_mm() if reading is None else reading
    return bg.Readings(bg.Blade(TEETH, name="X", **of_blade), reading, unit="mm", **facts)


def table(path, reading=None, **facts):
    """A file with the facts in columns of their own units."""
    stated = {**FACTS, **facts}
    heads = {f"{name}_{size.split()[1]}": size.split()[0] for name, size in stated.items()}
    reading = read_mm() if reading is None else reading
    rows = [["blade", "teeth", "tooth", "reading_mm", *heads]]
    rows += [["X", TEETH, at, one, *heads.values()] for at, one in enumerate(reading, 1)]
    return save(path, "\n".join(",".join(map(str, row)) for row in rows) + "\n")


CANNOT_BE = [
    ("ring_radius", "4.2 mm", "4.2 in"),  # Inside the bore of a 10 in blade.
    ("ring_radius", "0.5 mm", "0.5 in"),
    ("diameter", "254000 mm", "um"),
    ("plate", "2200 mm", "um"),
    ("graduation", "0.5 in", "thou"),
]


@pytest.mark.parametrize(("fact", "size", "meant"), CANNOT_BE)
def test_what_cannot_be_is_refused_with_the_cure_in_python_and_in_a_file(
    tmp_path, fact, size, meant
):
    with pytest.raises(bg.RefusedError) as refused:
        readings(**{fact: size})
    (fault,) = refused.value.faults
    assert fault.column == fact
    assert size.split()[0] in fault.problem
    assert meant in fault.cure
    command = run("fit", table(tmp_path / "one.csv", **{fact: size}), "--json")
    assert command.status == 2
    (told,) = command.json["refused"]
    assert told["row"] == 2
    assert meant in told["cure"]
    option = "--fact" if fact == "plate" else f"--{fact.replace('_', '-')}"
    said = size.replace(" ", "")
    facts = table(tmp_path / "two.csv", diameter="254 mm")
    if fact == "plate":
        assert run("fit", facts, option, f"plate={said}").status == 2


UNUSUAL = [
    ("diameter", "254 in", "254 mm"),
    ("graduation", "0.5 mm", "0.5 thou"),
    ("end_float", "2 mm", "2 thou"),
    ("tooth_width", "120 mm", ""),
]


@pytest.mark.parametrize(("fact", "size", "meant"), UNUSUAL)
def test_what_is_unusual_is_asked_about_before_any_teeth_are_named(tmp_path, fact, size, meant):
    path = table(tmp_path / "one.csv", **{fact: size})
    fit = bg.fit_wobble(bg.read_blade(path))
    (asked,) = fit.asked
    assert size in asked
    assert meant in asked
    told = " ".join(run("fit", path).out.split())
    where = bg.neutral_line(fit).instructions[0].split(":")[0]
    assert told.index(asked) < told.index(where)
    assert fit.said.index(asked) == len(fit.doubted)
    assert str(fit).splitlines()[1 + len(fit.doubted)].endswith(asked)
    # A table of many tells it too, and first of what it warns of.
    frame = bg.fit_table(bg.read_table(path))
    assert frame["warnings"][0].startswith(asked)
    assert not bg.fit_wobble(readings()).asked


def test_a_wobble_that_no_blade_has_is_asked_about_on_every_page_and_answer(tmp_path):
    path = table(tmp_path / "one.csv", read_mm(25.4))
    fit = bg.fit_wobble(bg.read_blade(path))
    (asked,) = fit.asked
    assert "mm" in asked
    page = " ".join(text.get_text() for text in bg.polar_chart(fit).figure.texts)
    assert page.index(asked) < page.index("neutral line")
    assert asked in json.loads(run("fit", path, "--json").out)["blades"][0]["warnings"][0]
    assert bg.fit_table(bg.read_table(path))["warnings"][0].startswith(asked)
    assert run("chart", path, "-o", tmp_path / "chart.pdf").err == ""
    out = tmp_path / "out.csv"
    run("table", path, "-o", out)
    assert next(csv.DictReader(out.read_text("utf-8-sig").splitlines()))["warnings"] == asked
    assert not bg.fit_wobble(readings(read_mm(5.0))).asked


SAW = {
    "slots": '[slots]\nfront = "{front}"\nback = "12.6 12.5 thou"\nseparation = "{apart}"\n',
    "fence": '[fence]\nalong = "0 10 in"\nreadings = "{front}"\n',
}


@pytest.mark.parametrize(
    ("part", "front", "apart", "column"),
    [
        ("slots", "12.0 12.5 in", "8 in", "front"),
        ("slots", "12.0 12.5 thou", "8 mm", "separation"),
        ("fence", "1.0 12.5 in", "", "readings"),
    ],
)
def test_a_saw_file_with_what_cannot_be_is_refused_at_its_row(tmp_path, part, front, apart, column):
    text = SAW[part].format(front=front, apart=apart)
    if part == "slots":  # Both in one unit, or that is refused before.
        text = text.replace("12.6 12.5 thou", "0.6 0.5 in") if "in" in front else text
    with pytest.raises(bg.RefusedError) as refused:
        bg.set_up(save(tmp_path / "saw.toml", text))
    (fault,) = refused.value.faults
    assert text.splitlines()[fault.row - 1].startswith(column)
    assert "unit" in fault.cure
    good = SAW[part].format(front="12.0 12.5 thou", apart="8 in")
    assert bg.set_up(save(tmp_path / "saw.toml", good)).steps


def test_in_python_slots_that_differ_by_a_foot_are_refused():
    with pytest.raises(bg.RefusedError, match="differ"):
        bg.slot_alignment("12.0 12.5 in", "0.5 0.6 in", separation="8 in")
    assert bg.slot_alignment("12.0 12.5 thou", "12.5 thou", separation="8 in")


def test_every_length_that_is_stated_has_its_bounds_and_common_sizes_are_within():
    assert {name for name, one in STATED.items() if one.lengths} <= SIZES.keys()
    for bounds in SIZES.values():
        assert bounds.least <= bounds.usual_least < bounds.usual_most <= bounds.most
    common = {
        "diameter": ["85 mm", "5.375 in", "7.25 in", "10 in", "12 in", "500 mm", "1200 mm"],
        "ring_radius": ["25 mm", "4.5 in", "110 mm", "500 mm"],
        "plate": ["1 mm", "0.087 in", "2.2 mm", "5 mm"],
        "tooth_width": ["1.6 mm", "0.125 in", "20 mm"],
        "graduation": ["1 um", "0.5 thou", "0.01 mm", "0.1 mm"],
        "dial_turn": ["0.2 mm", "1 mm", "0.1 in"],
    }
    for name, sizes in common.items():
        for size in sizes:
            value, unit = size.split()
            assert misfit(name, float(value), unit) is None
            assert SIZES[name].usual(float(value) * MM_PER[unit]), (name, size)
