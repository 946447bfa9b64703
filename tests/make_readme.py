"""Put what the program really prints, draws and means into the documents.

    python tests/make_readme.py

Everything between ``<!-- made: NAME -->`` and ``<!-- end -->`` is replaced; the picture of the
chart is drawn again. A test holds the documents against what `pieces` returns.
"""

from __future__ import annotations

import contextlib
import io
import re
from collections.abc import Iterator
from datetime import date
from importlib import import_module
from pathlib import Path
from pkgutil import walk_packages

from live_session import first_lines

import bladegeom as bg
from bladegeom.__main__ import main
from bladegeom.columns import IN_ROWS, STATED
from bladegeom.result import Result

ROOT = Path(__file__).resolve().parent.parent
DEMO = "data_demo/forty_tooth.csv"
SAW = "data_demo/shed_saw.toml"
PICTURE = ROOT / "data_demo" / "forty_tooth.png"
BENCHMARKS = ROOT / "tests" / "benchmarks"


def pieces() -> dict[Path, dict[str, str]]:
    """Return the made pieces of each document by name; run from the repository's root."""
    return {
        ROOT / "README.md": {
            "answer": f"```text\n{shortened(printed(['fit', DEMO]), 16)}\n```",
            "session": f"```text\n{first_lines(14)}\n```",
            "setup": f"```text\n{shortened(printed(['setup', SAW, '--next']), 7)}\n```",
            "snippet": snippet(),
            "partitions": f"```python\n{PARTITIONS}```",
            "cautions": "\n".join(f"- {one}" for one in bg.CAUTIONS),
        },
        ROOT / "DEVELOPERS.md": {"glossary": glossary(), "others": others()},
        ROOT / "notebooks" / "functions.md": {"functions": functions()},
        ROOT / "notebooks" / "tables.md": {"columns": column_table()},
        BENCHMARKS / "README.md": {"arbor": arbor_table()},
    }


PARTITIONS = """\
import bladegeom as bg
import dask.dataframe as dd

readings = dd.from_map(bg.read_table, files)  # or dd.read_parquet("readings")
like = bg.fit_table(readings.partitions[0].compute()).iloc[:0]  # the columns
readings.map_partitions(bg.fit_table, meta=like).to_parquet("answers")
"""
"""The work on more blades than one machine holds; `tests/test_partitions.py` runs it."""


def snippet() -> str:
    """Return the work on one blade in a notebook, with what it answers."""
    fit = bg.fit_wobble(bg.read_blade(ROOT / DEMO))
    return f"""```python
import bladegeom as bg

readings = bg.read_blade("{DEMO}")
fit = bg.fit_wobble(readings)  # shows its own table
marks = bg.neutral_line(fit)  # {bg.neutral_line(fit).instructions[0]}
error = bg.squareness_error(fit, away_deg=30)  # {bg.squareness_error(fit, 30):.4f} degrees
ax = bg.polar_chart(fit)
bg.save_chart(ax, "chart.pdf")
```"""


def results() -> Iterator[type[Result]]:
    """Return every class of results, in the order of their names, without the bases of others."""
    for module in walk_packages(bg.__path__, "bladegeom."):
        if not module.name.endswith("__main__"):
            import_module(module.name)
    found, left = set(), [Result]
    while left:
        found |= (below := set(left.pop().__subclasses__()) - found)
        left += below
    own = {one for one in found if one.__module__.startswith("bladegeom.")}  # Tests have some too.
    bases = {base for one in own for base in one.__mro__[1:]}
    return iter(sorted(own - bases, key=lambda one: one.__name__))


def glossary() -> str:
    """Return a row for each result, with all its keys and what they mean."""
    rows = ["| result | its keys |", "|---|---|"]
    for one in results():
        told = [
            f"{', '.join(f'`{key}`' for key in keys)}: {meaning.replace('|', '&#124;')}"
            for keys, meaning in one.glossary().items()
        ]
        rows += [f"| `{one.__name__}` | {'<br>'.join(told)} |"] if told else []
    return "\n".join(rows)


OTHERS = {
    "read_again": "in tables: what to read again first, where a mistake seems likely",
    "share share_low share_high": "of a finishing tooth: its part of the wall, 0 to 1, with limits",
    "cosine sine fitted_cosine fitted_sine": "of one mounting",
    "change_verdict": "in the queue: improved, not shown to have improved or worse, against the "
    "readings before the service",
    "change_warnings": "in the queue: what goes with it",
    "sheet": "in the queue: the blade's sheet",
    "why": "in the queue: why that is to be done, in a few words",
    "over_limit over_limit_on over_limit_value": "in the queue: by what share of a limit the blade "
    "is over it (below 0: under), that limit's quantity and value; none where the readings cannot "
    "be relied on",
    "measure_again measure_again_first measure_again_why": "in the queue: teeth to read again "
    "(none: all of them), those that matter most, and why; missing where none are",
    "file": "of a blade on a shelf: where it was read",
    "kerf_widening": "of a blade on a shelf: twice the rim amplitude",
}
"""Keys that no result has by itself -> what they mean."""


def others() -> str:
    """Return a row for each of the keys that no result has by itself."""
    declared = {key for one in results() for told in one.glossary() for key in told}
    rows = [
        f"| `{'`, `'.join(keys.split())}` | {meaning} |"
        for keys, meaning in OTHERS.items()
        if declared.isdisjoint(keys.split())
    ]
    return "\n".join(["| key | meaning |", "|---|---|", *rows])


def functions() -> str:
    """Return what each public name is, by the folder where it lives."""
    at: dict[str, list[str]] = {}
    for name in sorted(bg.__all__, key=str.lower):
        public = getattr(bg, name)
        home = getattr(public, "__module__", "bladegeom.draw").split(".")
        if callable(public):
            first = " ".join((public.__doc__ or "").strip().split("\n\n")[0].split())
            at.setdefault(home[1], []).append(f"| `{name}` | {first} |")
    order = ["blade", "readings", "tables", "fit", "mistakes", "saw", "arbor", "plate", "wall"]
    places = [*order, *sorted(at.keys() - order)]
    rows = [row for place in places for row in at.get(place, ())]
    return "\n".join(["| name | what it is |", "|---|---|", *rows])


def column_table() -> str:
    """Return the columns of a table of readings, the rows' own first."""
    rows = ["| column | holds |", "|---|---|"]
    for column in (*IN_ROWS, *STATED.values()):
        first = next(iter(column.headers))
        names = f"`{first}`, ..." if len(column.headers) > 1 else f"`{first}`"
        meaning = column.meaning
        if column.default not in (None, ""):
            shown = column.default if isinstance(column.default, str) else f"{column.default:g}"
            meaning += f"; {shown} if not stated"
        rows.append(f"| {names} | {meaning}{'; for the doubt' * column.doubt} |")
    return "\n".join(rows)


def arbor_table() -> str:
    """Return the least and greatest coverage of each plan and seating, from the whole table."""
    found: dict[str, dict[str, str]] = {}
    for line in (BENCHMARKS / "arbor.md").read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.strip("| ").split("|")]
        if len(cells) < 7 or cells[2:4] != ["10, 10", "24"]:
            continue
        shares = [float(share) for cell in cells[4:7] for share in cell.split(",")]
        found.setdefault(cells[0], {})[cells[1]] = f"{min(shares)} to {max(shares)}"
    seatings = list(next(iter(found.values())))
    rows = [
        "| clock positions | " + " | ".join(seatings) + " |",
        "|---" * (len(seatings) + 1) + "|",
    ]
    rows += [f"| {plan} | {' | '.join(held.values())} |" for plan, held in found.items()]
    return "\n".join(rows)


def printed(argv: list[str]) -> str:
    """Return what the command prints, run from the repository's root."""
    out = io.StringIO()
    with contextlib.chdir(ROOT), contextlib.redirect_stdout(out):
        main(argv)
    return out.getvalue().strip()


def shortened(text: str, lines: int) -> str:
    """Return the first lines of a text, and a sign that there are more."""
    return "\n".join([*text.splitlines()[:lines], "..."])


def filled(text: str, made: dict[str, str]) -> str:
    """Return a document's text with its made pieces replaced."""
    for name, piece in made.items():
        marker = f"<!-- made: {name} -->"
        pattern = re.compile(re.escape(marker) + r"\n.*?<!-- end -->", re.DOTALL)
        text, count = pattern.subn(lambda _, p=piece, m=marker: f"{m}\n{p}\n<!-- end -->", text)
        if count != 1:
            raise ValueError(f"there are {count} places for {name}")
    return text


if __name__ == "__main__":
    for document, made in pieces().items():
        document.write_text(filled(document.read_text("utf-8"), made), "utf-8")
    demo = bg.fit_wobble(bg.read_blade(ROOT / DEMO))
    page = bg.polar_chart(demo, date=date(2026, 11, 25)).get_figure()
    page.savefig(PICTURE, dpi=75, metadata={"Software": None})
