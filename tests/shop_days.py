"""Days of an invented shop: tables of its blades, its limit, and what a run left behind."""

from __future__ import annotations

import csv
import json

import openpyxl
from written import save, sheet, wave

import bladegeom as bg

GOOD, BAD = 0.02, 0.2
LIMITS = """\
[[limit]]
quantity = "wobble_tir"
value = "4 thou"
source = "invented for a test"
"""
NO_MISTAKE = bg.check_readings(bg.Readings(bg.Blade(4), [0, 1, 0, -1], unit="mm"))


def of_blades(readings, **facts):
    """Rows of a table with readings, as text, for each name; facts are constant columns."""
    facts = {"ring_radius_mm": 100, "diameter_mm": 250} | facts
    tables = [sheet(read, blade=name, **facts) for name, read in readings.items()]
    return [tables[0][0], *(row for table in tables for row in table[1:])]


def day(path, **sizes):
    """A table with a blade for each name: its wobble in mm, or None for spoilt readings."""
    readings = {}
    for name, size in sizes.items():
        readings[name] = wave(24, GOOD if size is None else size)
        if size is None:
            readings[name][3] = "spoilt"
    return save(path, of_blades(readings))


def held(folder):
    """Every file of a folder and what it holds."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def queue_rows(path):
    """Rows of a queue by their blade, from any of its forms."""
    if path.suffix == ".csv":
        with path.open(encoding="utf-8-sig", newline="") as file:
            rows = [*csv.DictReader(file)]
    elif path.suffix == ".json":
        rows = json.loads(path.read_text("utf-8"))["blades"]
    else:
        head, *lines = openpyxl.load_workbook(path)["queue"].values
        rows = [dict(zip(head, line, strict=True)) for line in lines]
    return {row["blade"]: row for row in rows}
