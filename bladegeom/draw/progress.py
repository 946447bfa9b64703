"""How far a long run has come, and how long it still takes: a line on a terminal, else nothing."""

from __future__ import annotations

import math
import shutil
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, TextIO

from bladegeom.faults import shown

_WIDE = 30
"""Letters of the bar."""

_EVERY_S = 0.2
_SETTLED_S, _FEWEST = 2.0, 3
"""How long, and for how many blades, nothing is said of the time that is left, while it jumps."""

_SMOOTH_S = 8.0
"""Over how long the speed is averaged: a file that lags does not change what is told at once."""


class Progress:
    """A line on a terminal, drawn over itself; nothing where the stream is none."""

    _what: str
    _done: int
    _first: int
    _at: float
    _speed: float
    """In blades a second."""

    def __init__(self, stream: TextIO | None, clock: Callable[[], float] = time.monotonic) -> None:
        self._stream = stream if stream is not None and stream.isatty() else None
        self._clock = clock
        self._drawn = ""
        self._begin("", 0)

    def __call__(self, what: str, done: int, count: int) -> None:
        """Tell that so much of so much is done of something."""
        if self._stream is None:
            return
        if what != self._what or done < self._done:
            self._begin(what, done)
        passed = self._clock() - self._at
        if self._drawn and passed < _EVERY_S and done < count:
            return
        if passed > 0:
            now = (done - self._done) / passed
            new = 1.0 if self._speed == 0 else -math.expm1(-passed / _SMOOTH_S)
            self._speed += new * (now - self._speed)
            self._done, self._at = done, self._at + passed
        told = f"{what}: " if what else ""
        bar = "#" * (_WIDE * done // max(count, 1))
        blades = "blade" if count == 1 else "blades"
        line = shown(f"[{bar:<{_WIDE}}] {told}{done} of {count} {blades}{self._left(count - done)}")
        # What is wider than the terminal would go on below, and stay there.
        line = line[: shutil.get_terminal_size().columns - 1]
        print(f"\r{line:<{len(self._drawn)}}", end="", file=self._stream, flush=True)
        self._drawn = line

    def clear(self) -> None:
        """Make room for something else."""
        if self._drawn:
            print(f"\r{'':<{len(self._drawn)}}\r", end="", file=self._stream, flush=True)
            self._drawn = ""

    def close(self) -> None:
        """Leave the line as it is, and go to the next."""
        if self._drawn:
            print(file=self._stream)
            self._drawn = ""

    def _begin(self, what: str, done: int) -> None:
        self._what, self._done, self._first = what, done, done
        self._began = self._at = self._clock()
        self._speed = 0.0

    def _left(self, blades: int) -> str:
        early = self._at - self._began < _SETTLED_S or self._done - self._first < _FEWEST
        if blades <= 0 or self._speed <= 0 or early:
            return ""
        return f", {left_words(blades / self._speed)}"


def left_words(seconds: float) -> str:
    """Return how long something still takes, as roughly as that is known."""
    if seconds < 10:
        return "a few seconds left"
    if seconds <= 55:
        return f"about {5 * math.ceil(seconds / 5)} s left"
    hours, minutes = divmod(math.ceil(seconds / 60), 60)
    if not hours:
        return f"about {minutes} min left"
    return f"about {hours} h {minutes} min left" if minutes else f"about {hours} h left"


@contextmanager
def progress(stream: TextIO | None) -> Iterator[Progress]:
    """Yield what draws the line; what is warned of meanwhile stands on a line of its own."""
    line, say = Progress(stream), warnings.showwarning

    def apart(*words: Any, **more: Any) -> None:
        line.clear()
        say(*words, **more)

    warnings.showwarning = apart
    try:
        yield line
    finally:
        warnings.showwarning = say
        line.close()
