"""Put what the program really prints and draws into README.md.

    python tests/make_readme.py

Everything between ``<!-- made: NAME -->`` and ``<!-- end -->`` is replaced; the picture of the
chart is drawn again. A test holds the README against what `pieces` returns.
"""

from __future__ import annotations

import contextlib
import io
import re
from datetime import date
from pathlib import Path

import bladegeom as bg
from bladegeom.__main__ import main
from bladegeom.columns import IN_ROWS, STATED

ROOT = Path(__file__).resolve().parent.parent
DEMO = "data_demo/forty_tooth.csv"
CALIBRATION = ROOT / "tests" / "benchmarks" / "calibration.md"
ARBOR = ROOT / "tests" / "benchmarks" / "arbor.md"
CLOCK = ROOT / "tests" / "benchmarks" / "clock.md"
SAW = "data_demo/shed_saw.toml"
PICTURE = ROOT / "data_demo" / "forty_tooth.png"


def pieces() -> dict[str, str]:
    """Return the made pieces of the README by name; run from the repository's root."""
    fit = bg.fit_wobble(bg.read_blade(ROOT / DEMO))
    return {
        "answer": f"```text\n{printed(['fit', DEMO])}\n```",
        "snippet": "\n".join(
            [
                "```python",
                "import bladegeom as bg",
                "",
                f'readings = bg.read_blade("{DEMO}")',
                "fit = bg.fit_wobble(readings)  # shows its own table",
                f"marks = bg.neutral_line(fit)  # {bg.neutral_line(fit).instructions[0]}",
                "error = bg.squareness_error(fit, away_deg=30)  # "
                f"{bg.squareness_error(fit, away_deg=30):.4f} degrees",
                "ax = bg.polar_chart(fit)",
                'bg.save_chart(ax, "chart.pdf")',
                "```",
            ]
        ),
        "setup": f"```text\n{shortened(printed(['setup', SAW]), 27)}\n```",
        "columns": column_table(),
        "calibration": CALIBRATION.read_text("utf-8").strip(),
        "arbor": f"{arbor_table()}\n\n{CLOCK.read_text('utf-8').strip()}",
        "cautions": "\n".join(f"- {caution}" for caution in bg.CAUTIONS),
    }


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
    for line in ARBOR.read_text("utf-8").splitlines():
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
    """Return the README's text with its made pieces replaced."""
    for name, piece in made.items():
        marker = f"<!-- made: {name} -->"
        pattern = re.compile(re.escape(marker) + r"\n.*?<!-- end -->", re.DOTALL)
        text, count = pattern.subn(lambda _, p=piece, m=marker: f"{m}\n{p}\n<!-- end -->", text)
        if count != 1:
            raise ValueError(f"README.md has {count} places for {name}")
    return text


if __name__ == "__main__":
    readme = ROOT / "README.md"
    readme.write_text(filled(readme.read_text("utf-8"), pieces()), "utf-8")
    demo = bg.fit_wobble(bg.read_blade(ROOT / DEMO))
    page = bg.polar_chart(demo, date=date(2026, 11, 25)).get_figure()
    page.savefig(PICTURE, dpi=75, metadata={"Software": None})
