"""How much memory a giant table takes: the whole process, from CSV to answers.

    python tests/benchmarks/bench_giant.py [BLADES]

Invents BLADES blades (1,000,000) of 40 teeth from a fixed seed, a row a reading, lets
``bladegeom table`` answer them, and prints the largest memory that the process ever had.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

BLADES, TEETH, AT_ONCE, SEED = 1_000_000, 40, 5_000, 20_261_127
HEAD = "blade,tooth,reading_thou,teeth,ring_radius_in,graduation_thou\n"


def write(path: Path, blades: int) -> None:
    """Write the table."""
    rng, angle = np.random.default_rng(SEED), 2 * np.pi * np.arange(TEETH) / TEETH
    with path.open("w", encoding="utf-8") as file:
        file.write(HEAD)
        for first in range(0, blades, AT_ONCE):
            many = min(AT_ONCE, blades - first)
            size, near, zero = rng.uniform((0.5, 0, 0), (5, 2 * np.pi, 10), (many, 3)).T[..., None]
            read = zero + size * np.cos(angle - near) + rng.normal(0, 0.3, (many, TEETH))
            file.writelines(
                f"B{first + blade:07d},{tooth},{value:g},{TEETH},4.5,0.5\n"
                for blade, row in enumerate((np.round(2 * read) / 2).tolist())
                for tooth, value in enumerate(row, start=1)
            )


def main(blades: int) -> None:
    """Print what it took."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "giant.csv"
        write(path, blades)
        begun = time.perf_counter()
        command = ["table", str(path), "-o", str(Path(folder) / "answers.csv")]
        subprocess.run([sys.executable, "-m", "bladegeom", *command], check=True)
        took = time.perf_counter() - begun
        held = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
        size = path.stat().st_size / 1e9
        print(f"{blades} blades, a CSV of {size:.2f} GB: {held:.2f} GB, {took:.0f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if sys.argv[1:] else BLADES)
