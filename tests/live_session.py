"""An invented blade read at an invented saw: by the dialogue alone, or at a pseudo-terminal."""

from __future__ import annotations

import math
import os
import re
import select
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

from written import SURROUNDINGS

from bladegeom.draw.printed import CAUTIONS, WIDTH
from bladegeom.live.session import Session
from bladegeom.live.taken import Taken, begun

TEETH = 40
FACTS = {"teeth": TEETH, "ring_radius": (4.5, "in"), "graduation": (0.5, "thou")}
OPTIONS = ["--unit", "thou", "--teeth", "40", "--ring-radius", "4.5in", "--graduation", "0.5thou"]
_PATIENCE_S = 60
_SCATTER = (0.1, -0.2, 0.15, -0.1, 0.05, 0.2, -0.15, -0.05)


def reading_of(tooth: int, teeth: int = TEETH) -> str:
    """Return what the dial shows at a tooth, in thou to half a thou: nearest between 23 and 24."""
    angle = 2 * math.pi * ((tooth - 1) / teeth - 198.5 / 360)
    height = 2.2 + 2.3 * math.cos(angle) + _SCATTER[tooth % len(_SCATTER)]
    return f"{round(2 * height) / 2:g}"


def asked_tooth(prompt: str) -> int:
    """Return the tooth that a prompt asks for."""
    return int(prompt.split()[1].strip(":"))


def session_text(slips: dict[int, str] | None = None, *, spread: bool = True) -> tuple[str, Taken]:
    """Return what a whole session shows, and what was taken.

    `slips` is what is typed instead of what the dial shows, at which prompt (the first is 0).
    """
    taken = begun(Path("blade.csv"), "thou", "A-40", FACTS)
    session = Session(taken, lambda _: None, spread=spread)
    shown = [CAUTIONS[0], *session.opening()]
    place = 0
    while not session.ended:
        prompt = session.prompt
        line = (slips or {}).get(place, reading_of(asked_tooth(prompt)))
        shown += [f"{prompt}{line}", *session.take(line)]
        place += 1
    said = [part for line in [*shown, *session.ending()] for part in textwrap.wrap(line, WIDTH)]
    return "\n".join(said), session.state.taken


def first_lines(count: int = 8) -> str:
    """Return the first lines of a session, as a wide terminal shows them."""
    return "\n".join(session_text()[0].splitlines()[:count])


class AtSaw:
    """The command at a pseudo-terminal."""

    def __init__(self, *arguments: str | Path) -> None:
        import fcntl
        import pty
        import termios

        self.screen, self._seen = "", 0
        self._hand, terminal = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-W", "error", "-m", "bladegeom", "read", *map(str, arguments)],
            stdin=terminal,
            stdout=terminal,
            stderr=terminal,
            start_new_session=True,
            preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),  # That Ctrl-C is heard.
            env={**os.environ, **SURROUNDINGS},
        )
        os.close(terminal)

    def until(self, words: str) -> str:
        """Return what stands on the screen since last time, up to some words, which must come."""
        while (at := self.screen.find(words, self._seen)) < 0:
            assert self._more(), f"{words!r} does not come: {self.screen[self._seen :]!r}"
        start, self._seen = self._seen, at + len(words)
        return self.screen[start : self._seen]

    def _more(self) -> bool:
        """Add what is said next to the screen; return whether there was anything."""
        ready, _, _ = select.select([self._hand], [], [], _PATIENCE_S)
        assert ready, f"nothing more is said: {self.screen[self._seen :]!r}"
        try:
            part = os.read(self._hand, 4096)
        except OSError:  # All is said.
            return False
        self.screen += part.decode().replace("\r\n", "\n")
        return bool(part)

    def prompt(self) -> int:
        """Wait for the next prompt, and return the tooth that is asked for."""
        while not (asked := re.search(r"(?:\n|\a|^)tooth (\d+)(?: again)?: $", self.until(": "))):
            pass
        return int(asked[1])

    def type(self, text: str) -> None:
        """Type a line, or keys that end one."""
        os.write(self._hand, text.encode())

    def end(self) -> int:
        """Read all that is still said, and return the status."""
        while self._more():
            pass
        return self.process.wait(20)

    def hang_up(self) -> None:
        """Close the terminal, as a lid does."""
        os.close(self._hand)
        self._hand = os.open(os.devnull, os.O_RDWR)
        self.process.wait(20)

    def kill(self) -> None:
        """End it as a power cut would."""
        os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait(20)

    def __enter__(self) -> AtSaw:
        return self

    def __exit__(self, *_: object) -> None:
        if self.process.poll() is None:
            self.kill()
        os.close(self._hand)
