"""Sheets drawn by several processes: the same files, faults and warnings as by one.

A process is asked over its standard input and answers on its output. Nothing of this one is copied
into it or run again there, so that a script needs no guard; and where this one ends, however it
ends, the questions of the other are at an end, and it ends too.
"""

from __future__ import annotations

import os
import pickle
import sys
import warnings
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from queue import SimpleQueue
from subprocess import PIPE, Popen
from typing import Any

from bladegeom.faults import RefusedError, refuse

_WORTH = 32
"""Sheets that take as long as a process takes to start."""

_AHEAD = 4
"""Sheets of each process that are begun before one of them must be done."""

_QUOTA = Path("/sys/fs/cgroup/cpu.max")


def cores() -> int:
    """Return how many cores this process may use, which may be fewer than there are."""
    if hasattr(os, "process_cpu_count"):  # Since Python 3.13.
        count = os.process_cpu_count() or 1
    elif hasattr(os, "sched_getaffinity"):
        count = len(os.sched_getaffinity(0))
    else:
        count = os.cpu_count() or 1
    with suppress(OSError, ValueError):  # A container may have a share of all cores.
        share, of = map(int, _QUOTA.read_text("ascii").split())
        count = min(count, max(1, share // of))
    return count


class Crew:
    """Whoever draws the sheets: this process, or others where there are sheets enough."""

    def __init__(self) -> None:
        self._others: list[_Other] = []
        self._idle: SimpleQueue[_Other] = SimpleQueue()
        self._pool: ThreadPoolExecutor | None = None
        self._begun: deque[Future[list[Warning]]] = deque()

    @property
    def at_work(self) -> int:
        """How many sheets are begun and not done."""
        return sum(not one.done() for one in self._begun)

    def start(self, left: int, draw: Callable[..., None], *what: Any, **how: Any) -> Drawing:
        """Draw a sheet, of so many that are left at most, here and now or in another process."""
        if self._pool is None and (count := min(cores(), left // _WORTH)) > 1:
            self._others = [_Other() for _ in range(count)]
            for one in self._others:
                self._idle.put(one)
            self._pool = ThreadPoolExecutor(count)
        if self._pool is not None:
            while len(self._begun) >= _AHEAD * len(self._others):
                self._begun.popleft().exception()  # Waits: no more is kept in hand than needed.
            self._begun.append(self._pool.submit(self._asked, draw, what, how))
            return Drawing(self._begun[-1])
        done: Future[list[Warning]] = Future()
        try:
            draw(*what, **how)
            done.set_result([])
        except RefusedError as error:
            done.set_exception(error)
        return Drawing(done)

    def _asked(self, *task: Any) -> list[Warning]:
        other = self._idle.get()
        try:
            return other.ask(*task)
        finally:
            self._idle.put(other)

    def close(self) -> None:
        """End the other processes: what is begun is finished, the rest is left undone."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
        for one in self._others:
            one.end()


class Drawing:
    """A sheet that is being drawn."""

    def __init__(self, future: Future[list[Warning]]) -> None:
        self._future = future

    def wait(self) -> None:
        """Wait until it is drawn; what is wrong with it is raised, and what is noted warned of."""
        for one in self._future.result():
            warnings.warn(one, stacklevel=2)


@contextmanager
def crew() -> Iterator[Crew]:
    """Yield those who draw; however it ends, no other process is left."""
    made = Crew()
    try:
        yield made
    except _EndedError:
        raise refuse(
            "a process that draws sheets was ended before it was done",
            "run it again: the sheets that are drawn are kept",
        ) from None
    finally:
        made.close()


class _EndedError(Exception):
    """Another process has ended of itself, or from outside."""


_BEGIN = (
    "import signal, sys; signal.signal(signal.SIGINT, signal.SIG_IGN); "
    f"sys.path[:] = {sys.path!r}; import {__name__} as crew; crew.serve()"
)
"""Of another process: who asks is interrupted, and lets it end."""


class _Other:
    """Another process, which draws what it is asked for."""

    def __init__(self) -> None:
        self._process = Popen([sys.executable, "-c", _BEGIN], stdin=PIPE, stdout=PIPE)

    def ask(self, draw: Callable[..., None], what: Any, how: Any) -> list[Warning]:
        """Let it draw; return what it warned of, and raise what it refused."""
        asked, told = self._process.stdin, self._process.stdout
        assert asked is not None
        assert told is not None
        try:
            pickle.dump((draw, what, how), asked)
            asked.flush()
            answer = pickle.load(told)
        except (OSError, EOFError, pickle.UnpicklingError):
            raise _EndedError from None
        if isinstance(answer, RefusedError):
            raise answer
        return [one for one in answer if isinstance(one, Warning)]

    def end(self) -> None:
        """Let it end, and wait until it has."""
        with suppress(OSError):
            self._process.communicate()


def serve() -> None:
    """Draw what is asked for, until there are no more questions: the other process."""
    asked, told = sys.stdin.buffer, sys.stdout.buffer
    sys.stdout = sys.stderr  # What is printed is no answer.
    while True:
        try:
            draw, what, how = pickle.load(asked)
        except EOFError:
            return
        answer: object
        try:
            with warnings.catch_warnings(record=True) as caught:
                warnings.simplefilter("always")
                draw(*what, **how)
            answer = [one.message for one in caught]
        except RefusedError as error:
            answer = error
        try:
            pickle.dump(answer, told)
            told.flush()
        except OSError:  # Who asked has ended, and nobody hears of it.
            os._exit(1)
