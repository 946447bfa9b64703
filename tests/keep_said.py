"""Keep all that the program says, and hold it against what it says later.

    python tests/keep_said.py keep FOLDER [INPUTS]     # before a line moves
    python tests/keep_said.py compare FOLDER [PART...] # afterwards: prints what differs, exit 1

For those who rebuild the inside: every result's values and text over the demo data and some two
thousand simulated inputs, and every command's output and files. Nothing here checks what is right;
it only tells what changed. Where an argument gets another spelling, this script follows it. The
parts, all of them if none is named, are simulated, several and commands.
"""

from __future__ import annotations

import contextlib
import difflib
import hashlib
import io
import json
import re
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from datetime import date
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages
from typing import Any
from unittest.mock import patch

import numpy as np

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

import bladegeom as bg  # noqa: E402
import bladegeom.__main__  # noqa: E402

INPUTS = 2000
DIGITS = 9
"""Significant digits that must agree: sums may be taken in another order."""

DAY = "2026-03-01"
USES = ("table", "bevel", "miter_gauge", "riving_knife", "fence")
SLOW = 10
"""What takes long is asked of one input in so many."""


def plain(value: Any) -> Any:
    """Return a value as JSON holds it, numbers to `DIGITS` digits."""
    if isinstance(value, dict):
        return {str(key): plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain(one) for one in value]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float):
        return float(f"{value:.{DIGITS}g}") if np.isfinite(value) else repr(value)
    return value if value is None or isinstance(value, (bool, int, str)) else str(value)


def said(make: Callable[[], Any]) -> Any:
    """Return a result's values and text, or why there is none."""
    try:
        result = make()
    except bg.RefusedError as error:
        return {"refused": [plain(fault.to_dict()) for fault in error.faults]}
    if hasattr(result, "to_dict"):
        return {"values": plain(result.to_dict()), "text": str(result)}
    return plain(result)


def blade_of(rng: np.random.Generator) -> bg.Blade:
    """Draw a blade."""
    teeth = int(rng.choice([6, 10, 24, 24, 40, 40, 50, 60, 80, 23]))
    facts: dict[str, Any] = {}
    if rng.random() < 0.7:
        facts |= {"diameter": "254 mm", "plate": "2.2 mm", "tooth_width": "3.2 mm"}
        facts["gullet"] = "14 mm"
    if rng.random() < 0.2 and teeth % 5 == 0:
        facts["pitch_pattern"] = (1, 1, 1, 1, 1.6)
    if rng.random() < 0.1 and teeth % 2 == 0:
        facts["tooth_pattern"] = ("L", "R")
    if rng.random() < 0.5:
        facts["numbered"] = str(rng.choice(["clockwise", "counterclockwise"]))
    return bg.Blade(teeth, name=str(rng.choice(["A-1", "", "B 2"])), **facts)


def readings_of(rng: np.random.Generator) -> bg.Readings:
    """Draw the readings of a blade, now and then with a slip, gaps, turns, a bend or a drift."""
    blade = blade_of(rng)
    teeth, angle = blade.teeth, np.radians(blade.angles_deg)
    noise = 0.003 * float(rng.choice([0.3, 1.0, 3.0]))
    curve = 0.001 * np.exp(rng.uniform(0.0, 5.0)) * np.cos(angle - rng.uniform(0.0, 6.28))
    if rng.random() < 0.2:
        curve = curve + rng.uniform(0.0, 0.03) * np.cos(2 * angle - rng.uniform(0.0, 6.28))
    turns = int(rng.choice([1, 1, 1, 2, 3]))
    tooth, turn, turned, read = [], [], [], []
    for one in range(1, turns + 1):
        closing = rng.random() < 0.5
        kept = np.arange(teeth)
        if rng.random() < 0.3 and teeth > 10:
            kept = kept[rng.random(teeth) < rng.uniform(0.5, 1.0)]
        if rng.random() < 0.1 and teeth > 10:
            kept = kept[: 2 * teeth // 3]
        order = [*kept, *kept[:1]] if closing else [*kept]
        tooth += [place + 1 for place in order]
        turn += [one] * len(order)
        turned += ["backward" if turns == 2 and one == 2 and teeth == 40 else "forward"] * len(
            order
        )
        drift = rng.choice([0.0, 0.0, 0.02]) * np.arange(len(order)) / teeth
        read += [*(curve[np.array(order, dtype=int)] + rng.normal(0, noise, len(order)) + drift)]
    value = np.array(read)
    if rng.random() < 0.15:
        at = int(rng.integers(len(value)))
        value[at] = rng.choice([-value[at], 10 * value[at], value[at] + 1.0])
    facts: dict[str, Any] = {}
    if rng.random() < 0.7:
        grain = float(rng.choice([0.001, 0.002, 0.01]))
        value, facts["graduation"] = np.round(value / grain) * grain, (grain, "mm")
    if rng.random() < 0.8:
        facts["ring_radius"] = "110 mm"
    if rng.random() < 0.2:
        facts |= {"ring_radius_u": "0.5 mm", "stylus_deg": 2.0, "end_float": "0.005 mm"}
    if rng.random() < 0.2:
        facts["touch_deg"] = float(rng.uniform(-10.0, 10.0))
    if rng.random() < 0.2:
        facts["surface"] = "teeth"
    unit = str(rng.choice(["mm", "in", "thou", "um"]))
    per_mm = {"mm": 1.0, "in": 1 / 25.4, "thou": 1000 / 25.4, "um": 1000.0}[unit]
    given = (np.round(value * per_mm, 6), unit)
    return bg.Readings(blade, given, tooth=tooth, turn=turn, turned=turned, **facts)


def of_blade(readings: bg.Readings, *, slow: bool) -> Iterator[tuple[str, Any]]:
    """Yield all that is said of one blade's readings."""
    yield "check", said(lambda: bg.check_readings(readings))
    for name, how in (
        ("fit", {}),
        ("waves", {"harmonics": 3}),
        ("robust", {"robust": True}),
        ("drift", {"drift": True}),
    ):
        try:
            fit = bg.fit_wobble(readings, **how)
        except bg.RefusedError as error:
            yield name, [plain(fault.to_dict()) for fault in error.faults]
            continue
        yield name, {"values": plain(fit.to_dict()), "text": str(fit)}
        yield f"{name} marks", said(lambda fit=fit: bg.neutral_line(fit))
        yield f"{name} budget", said(lambda fit=fit: fit.budget)
        if name != "fit":
            continue
        yield "answer", said(lambda fit=fit: bg.blade_answer(fit))
        yield "waves in it", [str(one) for one in fit.harmonics]
        yield "shape", said(lambda fit=fit: bg.residual_shape(fit))
        yield "square", said(lambda fit=fit: bg.squareness(fit, away_deg=30.0, tolerance_deg=0.02))
        yield "kerf", said(lambda fit=fit: bg.kerf(fit))
        for use in USES:
            yield use, said(lambda fit=fit, use=use: bg.setting_error(fit, use, tooth=3))
        limit = bg.Limit("wobble_tir", (0.1, "mm"), "invented")
        raw = bg.Limit("raw_tir", (0.2, "mm"), "invented")
        limits = bg.Limits((limit, raw))
        yield "condition", said(lambda fit=fit, limits=limits: bg.assess(fit, limits))
        yield "change", said(lambda fit=fit: bg.change(fit, fit, tooth_1_marked=True))
        if slow:
            yield "next", said(lambda fit=fit: bg.next_readings(fit, 2))
            yield (
                "wall",
                said(
                    lambda fit=fit: bg.cut_wall(
                        fit, side_angle_deg=2.0, feed_per_turn="1 mm", height=None
                    )
                ),
            )


def simulated(count: int) -> Iterator[tuple[str, Any]]:
    """Yield what is said of simulated blades, one line a blade and result."""
    for at in range(count):
        readings = readings_of(np.random.Generator(np.random.PCG64([3, at])))
        for name, what in of_blade(readings, slow=at % SLOW == 0):
            yield f"{at} {name}", what


def several(count: int) -> Iterator[tuple[str, Any]]:
    """Yield what is said of mountings, rings and tables of simulated blades."""
    import pandas as pd

    for at in range(count):
        rng = np.random.Generator(np.random.PCG64([4, at]))
        own, flange = rng.normal(0.0, 0.02, 2), rng.normal(0.0, 0.01, 2)
        clock = [0.0, 90.0, 180.0, 270.0][: int(rng.integers(2, 5))]
        blade, fits = bg.Blade(24, name="A", diameter="254 mm"), []
        angle = np.radians(blade.angles_deg)
        for turn in clock:
            moved = complex(*flange) * np.exp(-1j * np.radians(turn)) + complex(*own)
            read = (moved * np.exp(-1j * angle)).real + rng.normal(0.0, 0.002, 24)
            one = bg.Readings(blade, read, unit="mm", ring_radius="110 mm", graduation="0.001 mm")
            fits.append(bg.fit_wobble(one))
        arbor = bg.separate_arbor(fits, clock)
        yield f"{at} arbor", {"values": plain(arbor.to_dict()), "text": str(arbor)}
        yield f"{at} clock", said(lambda arbor=arbor: bg.clock_advice(arbor))
    frames = []
    for at in range(20 * count):
        readings = readings_of(np.random.Generator(np.random.PCG64([5, at])))
        if readings.unit == "mm":
            cells = {
                "blade": f"b{at}",
                "tooth": readings.tooth,
                "turn": readings.turn,
                "reading_mm": readings.reading,
                "teeth": readings.blade.teeth,
                "ring_radius_mm": readings.ring_radius_mm,
                "graduation_mm": readings.graduation_mm,
            }
            frames.append(pd.DataFrame(cells))
    with contextlib.suppress(bg.BladegeomWarning):
        import warnings

        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            table = bg.fit_table(pd.concat(frames, ignore_index=True))
        yield "table columns", [f"{name} {kind}" for name, kind in table.dtypes.items()]
        yield "table refused", [str(fault) for fault in table.attrs["refused"]]
        for row in table.astype(object).where(table.notna(), None).to_dict("records"):
            yield f"table {row['blade']}", plain(row)


DEMO = "data_demo"
BLADES = (
    "forty_tooth",
    "eighty_tooth_two_turns",
    "fifty_tooth_groups",
    "flat_blade",
    "missing_arc",
)
FACTS = ("--blades", f"{DEMO}/shelf_blades.csv")


def commands() -> Iterator[list[str]]:
    """Yield every command over the demo data; OUT stands for a folder of its own."""
    for name in BLADES:
        file = f"{DEMO}/{name}.csv"
        for what in ("fit", "check", "doubt", "next"):
            yield [what, file]
            yield [what, file, "--json"]
        yield ["squareness", file, "--away", "30", "--span", "150mm", "--tolerance-deg", "0.05"]
        for kind in ("polar", "squareness", "strip", "clearance"):
            for paper, ending in (("a4", "pdf"), ("letter", "svg")):
                out = f"OUT/{kind}.{ending}"
                yield ["chart", file, "--kind", kind, "--paper", paper, "-o", out]
        yield ["cut-wall", file, "--feed", "1.2mm", "--height", "40mm", "--side-angle", "2"]
        yield ["record", file, "--history", "OUT/history", "--date", DAY]
        yield ["table", file, "-o", "OUT/answers.csv"]
    yield ["fit", f"{DEMO}/shelf_readings.csv", *FACTS]
    yield ["fit", f"{DEMO}/shelf_readings.csv", *FACTS, "--json"]
    yield ["check", f"{DEMO}/shelf_readings.csv", *FACTS]
    yield ["marks", "--teeth", "40", "--near", "7"]
    yield ["marks", "--teeth", "41", "--near", "7", "--json"]
    yield ["sheet", "--teeth", "40", "--turns", "2", "--unit", "thou", "-o", "OUT/s.pdf", "--csv"]
    yield ["setup", f"{DEMO}/shed_saw.toml", "-o", "OUT/card.pdf"]
    yield ["setup", f"{DEMO}/shed_saw.toml", "--json"]
    yield ["shelf", DEMO, "-o", "OUT/shelf.pdf"]
    yield ["shelf", DEMO, "--json"]
    limits = ("--limits", f"{DEMO}/shed_limits.toml", "--date", DAY)
    yield ["batch", f"{DEMO}/shelf_readings.csv", *FACTS, *limits, "--out", "OUT/day"]
    yield ["table", f"{DEMO}/shelf_readings.csv", *FACTS, "-o", "OUT/answers.xlsx"]
    yield ["change", f"{DEMO}/forty_tooth.csv", f"{DEMO}/forty_tooth.csv"]
    yield ["clock", f"{DEMO}/arbor/clock_mounts.csv", "-o", "OUT/clock.pdf"]
    yield ["clock", f"{DEMO}/arbor/clock_mounts.csv", "--json"]
    rings = f"{DEMO}/arbor/three_rings.csv"
    yield ["plate", rings, "--table-height", "25mm", "--reach", "90mm", "-o", "OUT/rotation.pdf"]
    yield ["plate", rings, "--table-height", "25mm", "--json"]
    parser = __import__("bladegeom.cli", fromlist=["parser"]).parser()
    names = next(one.choices for one in parser._actions if one.choices)
    yield ["--help"]
    for name in sorted(names or ()):
        yield [name, "--help"]


def ran(words: list[str], folder: Path) -> dict[str, Any]:
    """Run a command; return its status, what it printed, and what it wrote."""
    out, err = io.TextIOWrapper(io.BytesIO(), "utf-8"), io.StringIO()
    put = [word.replace("OUT", str(folder), 1) for word in words]
    status: Any = 0
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
        patch("sys.argv", ["bladegeom", *put]),
        patch.dict("os.environ", {"COLUMNS": "100"}),
    ):
        try:
            status = bladegeom.__main__.main(put)
        except SystemExit as end:
            status = end.code
        out.flush()
        printed = out.buffer.getvalue().decode("utf-8")

    def told(text: str) -> list[str]:
        return text.replace(str(folder), "OUT").splitlines()

    files = sorted(path for path in folder.rglob("*") if path.is_file())
    wrote = {str(path.relative_to(folder)): _held(path) for path in files}
    return {"status": status, "out": told(printed), "err": told(err.getvalue()), "wrote": wrote}


def _held(path: Path) -> Any:
    data = path.read_bytes()
    if path.suffix in (".csv", ".json"):
        return data.decode("utf-8-sig", "replace").splitlines()
    if path.suffix == ".svg":
        data = re.sub(rb"<dc:date>.*?</dc:date>|#?m[0-9a-f]{10}|#?p[0-9a-f]{10}", b"", data)
    if path.suffix == ".xlsx":
        import openpyxl

        book = openpyxl.load_workbook(path)
        return {sheet.title: plain([[*row] for row in sheet.values]) for sheet in book}
    return hashlib.sha256(data).hexdigest()


def keep(folder: Path, count: int, parts: Sequence[str] = ()) -> None:
    """Write all that the program says, a line a result."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "inputs").write_text(str(count))
    made = {
        "simulated": lambda: simulated(count),
        "several": lambda: several(count // 10),
        "commands": lambda: _commands(),
    }
    for name, lines in made.items():
        if parts and name not in parts:
            continue
        with (folder / f"{name}.jsonl").open("w", encoding="utf-8") as file:
            for key, what in lines():
                file.write(json.dumps([key, what], ensure_ascii=False) + "\n")


def _commands() -> Iterator[tuple[str, Any]]:
    today = type("Today", (date,), {"today": staticmethod(lambda: date.fromisoformat(DAY))})
    homes = [one.name for one in walk_packages(bg.__path__, "bladegeom.")]
    with contextlib.ExitStack() as stack:
        for module in map(import_module, homes):
            # A saw's file has its own date, which is told by its kind.
            if getattr(module, "Date", None) is date and ".saw." not in module.__name__:
                stack.enter_context(patch.object(module, "Date", today))
        for words in commands():
            with tempfile.TemporaryDirectory() as name:
                yield " ".join(words), ran(words, Path(name))


def compare(folder: Path, parts: Sequence[str] = ()) -> int:
    """Print what the program says otherwise than it did; return how many results."""
    count = int((folder / "inputs").read_text())
    with tempfile.TemporaryDirectory() as name:
        keep(Path(name), count, parts)
        other = 0
        for before in sorted(folder / one.name for one in Path(name).glob("*.jsonl")):
            now = dict(map(json.loads, (Path(name) / before.name).open(encoding="utf-8")))
            was = dict(map(json.loads, before.open(encoding="utf-8")))
            for key in [*was, *(key for key in now if key not in was)]:
                if _rounded(was.get(key)) != _rounded(now.get(key)):
                    other += 1
                    if other <= 40:
                        print(f"\n{before.stem}: {key}")
                        print(*_difference(was.get(key), now.get(key)), sep="\n")
    print(f"\n{other} results differ")
    return other


_LONG = re.compile(r"-?\d+\.\d{9,}(?:e[+-]?\d+)?|-?\d+(?:\.\d+)?e-\d+")
_CHECK = re.compile(r"^[0-9a-f]{8}(?=,\d{4}-)|(?<![.\w])[0-9a-f]{16}\b")
"""Check value of a line of a history, and digests: they hang on the last digit."""


def _rounded(held: Any) -> str:
    """Return what is held as text, with as many digits as must agree."""

    def short(match: re.Match[str]) -> str:
        value = float(match[0])
        return f"{value:.{DIGITS - 1}g}" if abs(value) > 1e-11 else "0"

    if isinstance(held, str):
        return _LONG.sub(short, _CHECK.sub("", held))
    if isinstance(held, list):
        return str([_rounded(one) for one in held])
    if isinstance(held, dict):
        return str({key: _rounded(held[key]) for key in sorted(held)})
    return _LONG.sub(short, repr(held))


def _difference(was: Any, now: Any) -> list[str]:
    texts = [
        _LONG.sub(
            lambda match: f"{float(match[0]):.{DIGITS - 1}g}",
            json.dumps(one, indent=1, ensure_ascii=False, sort_keys=True),
        ).splitlines()
        for one in (was, now)
    ]
    return [*difflib.unified_diff(*texts, "was", "now", lineterm="", n=1)][:60]


def main() -> int:
    """Keep or compare."""
    what, folder, *rest = sys.argv[1:]
    if what == "compare":
        return min(1, compare(Path(folder), rest))
    shutil.rmtree(folder, ignore_errors=True)
    keep(Path(folder), int(rest[0]) if rest else INPUTS)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
