"""How long a user waits: whole processes against bare ones, in turn, in one run.

    python tests/benchmarks/bench_startup.py [RUNS]

Prints the median wall time of each and the median of the ratios taken pair by pair. Nothing here
is a test: times belong to a machine, ratios in one run can be compared.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
DEMO = str(ROOT / "data_demo" / "forty_tooth.csv")
BARE = [sys.executable, "-c", "import numpy, scipy.special"]
MINIMAL_PAGE = str(Path(__file__).with_name("minimal_page.py"))


def cases(folder: str) -> dict[str, tuple[list[str], list[str], float]]:
    """Return name -> (command, what it is held against, the ratio it should not exceed)."""
    here = [sys.executable, "-m", "bladegeom"]
    chart = str(Path(folder) / "chart.pdf")
    page = str(Path(folder) / "minimal.pdf")
    return {
        "import bladegeom / import numpy, scipy.special": (
            [sys.executable, "-c", "import bladegeom"],
            BARE,
            1.3,
        ),
        "bladegeom fit, one blade / import numpy, scipy.special": ([*here, "fit", DEMO], BARE, 1.3),
        "bladegeom chart, one blade / the same page by a minimal script": (
            [*here, "chart", DEMO, "-o", chart],
            [sys.executable, MINIMAL_PAGE, page],
            1.5,
        ),
    }


def seconds(command: list[str]) -> float:
    """Return the wall time of one run."""
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def main() -> None:
    """Run every case and print its ratio."""
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 15
    with tempfile.TemporaryDirectory() as folder:
        for name, (ours, theirs, most) in cases(folder).items():
            seconds(ours), seconds(theirs)
            pairs = [(seconds(ours), seconds(theirs)) for _ in range(runs)]
            ratio = statistics.median(one / other for one, other in pairs)
            mine, bare = (1000 * statistics.median(side) for side in zip(*pairs, strict=True))
            print(f"{name}: {ratio:.2f} (aim: at most {most}); {mine:.0f} ms / {bare:.0f} ms")


if __name__ == "__main__":
    main()
