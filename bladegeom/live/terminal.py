"""The dialogue at a terminal, and a device beside the keyboard that sends a line a press."""

from __future__ import annotations

import os
import queue
import re
import shutil
import stat
import sys
import textwrap
import threading
import time
from collections.abc import Mapping
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any, NamedTuple

from bladegeom.face import check_surface
from bladegeom.faults import as_letters, refuse, shown
from bladegeom.live.about import About
from bladegeom.live.session import DONE, Session
from bladegeom.live.taken import Taken, found
from bladegeom.tables.out import check_apart

_WAIT_S, _WIDEST, _LONGEST = 0.05, 96, 40


class _Line(NamedTuple):
    """A line, or None at the end of what sends them; by whom, and when."""

    text: str | None
    typed: bool
    when: float


def read_at_saw(
    file: str,
    stated: Mapping[str, Any],
    *,
    spread: bool,
    wanted_deg: float | None,
    device: str | None,
    caution: str,
) -> bool:
    """Ask for the readings of a blade until all are in a file; return whether nothing is missing.

    Parameters
    ----------
    file : path
        A new one, or one that is gone on with.
    stated : dict
        What is known of the blade: facts by name, ``unit`` and ``name`` among them.
    spread, wanted_deg
        As for `Session`.
    device : path, optional
        A serial port, pipe or growing file that sends a line a reading.
    caution : str
        What is said before all else.

    Raises
    ------
    RefusedError
        Before anything is asked, if there is no terminal, or the file or the device is of no use.
    """
    if sys.stdin is None or not sys.stdin.isatty():
        problem, cure = "readings are asked for at a terminal, and this is none", "type them at one"
        raise refuse(problem, f"{cure}; what is piped is answered by: bladegeom fit -")
    path = Path(file)
    facts = {name: one for name, one in stated.items() if name not in ("unit", "name")}
    taken = found(path, stated["unit"], stated["name"] or "", facts)
    if taken is not None and taken.whole and taken.closed:
        problem = f"{as_letters(file)} is finished: every tooth is read, and the turn is closed"
        raise refuse(problem, f"see bladegeom fit {as_letters(file)}, or name another file")
    known = stated if taken is None else taken.facts
    check_surface(known.get("surface"), "no teeth are asked for (a form: bladegeom sheet --csv)")
    about = About(path, stated) if taken is None else None
    talk = _Talk(device, file)
    _say([caution])
    if about is not None:
        _say(about.opening())
        talk.hold(about)
        if about.stopped:
            _say(["Nothing is begun."])
            return False
        taken = about.begin()
    assert taken is not None  # Found, or begun.
    return _session(talk, taken, path, spread=spread, wanted_deg=wanted_deg)


def _session(talk: _Talk, taken: Taken, path: Path, **how: Any) -> bool:
    """Ask for readings until they end; what is kept is said however they do."""
    target = Path(os.path.realpath(path))  # What a link leads to is written, and the link stays.
    taken.save(target)
    held = taken.text()

    def save(one: Taken) -> None:
        nonlocal held
        with suppress(FileNotFoundError):
            if target.read_bytes() != held.encode():
                problem = f"{as_letters(path)} was changed by another program"
                raise refuse(problem, "stop by q; the same command then goes on from there")
        one.save(target)
        held = one.text()

    session = Session(taken, save, **how)
    _say(session.opening())
    try:
        talk.hold(session)
    except BaseException:
        _say(["", *session.ending()])
        raise
    _say(session.ending())
    return session.state.at == DONE


class _Talk:
    """Lines of the keyboard and of a device, as they come."""

    def __init__(self, device: str | None, file: str) -> None:
        self._lines: queue.Queue[_Line] = queue.Queue()
        self._device = "" if device is None else as_letters(device)
        if device is not None:
            handle, goes_on = _opened(device, file)
            self._listen(handle, typed=False, goes_on=goes_on)
        self._listen(sys.stdin.fileno(), typed=True, goes_on=False)

    def _listen(self, handle: int, *, typed: bool, goes_on: bool) -> None:
        listens = partial(_listen, handle, self._lines, typed=typed, goes_on=goes_on)
        threading.Thread(target=listens, daemon=True).start()

    def hold(self, asks: About | Session) -> None:
        """Ask and take what comes until nothing more is asked; the keyboard's end is to stop."""
        while not asks.ended:
            if asks.waits:
                _forget_typed()
            asked = time.monotonic()
            print(asks.prompt, end="", flush=True)
            line = self._next()
            if line.text is None:
                print()
                if line.typed:
                    asks.take("q")
                else:
                    _say([f"{self._device} has ended: type the readings"], bell=True)
                continue
            if not line.typed or line.when < asked:
                print(shown(line.text[:_LONGEST]))
            if line.when < asked and (asks.waits or not line.typed):
                by = "typed" if line.typed else f"sent by {self._device}"
                _say([f"{by} before it was asked for, and not taken"], bell=True)
                continue
            said = asks.take(line.text, typed=line.typed)
            if not line.typed:
                _forget_typed()
            _say(said, bell=asks.waits or (not line.typed and bool(said)))

    def _next(self) -> _Line:
        """Return the next line; nothing that a device sends as a blank one."""
        while True:
            # Without an end to the waiting, some systems do not hear Ctrl-C.
            with suppress(queue.Empty):
                line = self._lines.get(timeout=1.0)
                if line.typed or line.text is None or line.text.strip():
                    return line


def _listen(handle: int, lines: queue.Queue[_Line], *, typed: bool, goes_on: bool) -> None:
    """Put down each line that comes; where what sends them `goes_on`, an end is only a pause."""
    held = b""
    while True:
        try:
            part = os.read(handle, 4096)
        except OSError:
            part, goes_on = b"", False
        when = time.monotonic()
        if part:
            *whole, held = re.split(rb"\r\n|\r|\n", held + part)
            for one in whole:
                lines.put(_Line(one.decode("utf-8", "backslashreplace"), typed, when))
        elif goes_on:
            time.sleep(_WAIT_S)
        else:
            lines.put(_Line(None, typed, when))
            return


def _opened(device: str, file: str) -> tuple[int, bool]:
    """Open a device; what it sent before is passed over. Return whether an end is only a pause."""
    name = as_letters(device)
    check_apart([file], [device])
    try:
        handle = os.open(
            device, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0)
        )
        kind = os.fstat(handle).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError(0, "it is a folder")
    except OSError as error:
        problem = f"{name} cannot be read from: {error.strerror}"
        raise refuse(problem, "check --from, and that the device is plugged in") from None
    passed = b""
    if stat.S_ISREG(kind):
        os.lseek(handle, 0, os.SEEK_END)
        passed = b"it" * bool(os.fstat(handle).st_size)
    elif stat.S_ISFIFO(kind):
        with suppress(BlockingIOError):
            while part := os.read(handle, 4096):
                passed += part
    elif os.isatty(handle):
        with suppress(ImportError):  # Where there is none, the system's own settings hold.
            import termios
            import tty

            tty.setraw(handle)
            termios.tcflush(handle, termios.TCIFLUSH)
    if hasattr(os, "set_blocking"):
        os.set_blocking(handle, True)
    if passed:
        _say([f"What {name} held already is not taken."])
    return handle, stat.S_ISREG(kind) or stat.S_ISFIFO(kind)


def _forget_typed() -> None:
    """Forget a line that is being typed: it was begun before this was asked for."""
    with suppress(ImportError, OSError):
        import termios

        termios.tcflush(sys.stdin.fileno(), termios.TCIFLUSH)


def _say(lines: list[str], *, bell: bool = False) -> None:
    if lines:
        width = min(_WIDEST, shutil.get_terminal_size().columns)
        parts = [part for line in lines for part in textwrap.wrap(shown(line), width) or [""]]
        print("\n".join(parts) + "\a" * (bell and sys.stdout.isatty()))
