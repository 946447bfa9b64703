"""An invented blade read at an invented saw: by the dialogue alone, or at a pseudo-terminal."""

from __future__ import annotations

import math
import os
import select
import signal
import subprocess
import sys
import time
from pathlib import Path

from written import SURROUNDINGS

from bladegeom.draw.printed import CAUTIONS
from bladegeom.live.session import Session
from bladegeom.live.taken import Taken, begun

TEETH = 40
FACTS = {"teeth": TEETH, "ring_radius": (4.5, "in"), "graduation": (0.5, "thou")}
OPTIONS = ["--unit", "thou", "--teeth", "40", "--ring-radius", "4.5in", "--graduation", "0.5thou"]
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
    return "\n".join([*shown, *session.ending()]), session.state.taken


class AtSaw:
    """The command at a pseudo-terminal."""

    def __init__(self, *arguments: str | Path) -> None:
        import pty

        self.screen, self._seen = "", 0
        self._hand, terminal = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, "-W", "error", "-m", "bladegeom", "read", *map(str, arguments)],
            stdin=terminal,
            stdout=terminal,
            stderr=terminal,
            start_new_session=True,
            env={**os.environ, **SURROUNDINGS},
        )
        os.close(terminal)

    def until(self, words: str, wait_s: float = 20.0) -> str:
        """Return what stands on the screen since last time, up to some words, which must come."""
        end = time.monotonic() + wait_s
        while (at := self.screen.find(words, self._seen)) < 0:
            ready, _, _ = select.select([self._hand], [], [], 0.2)
            part = b""
            if ready:
                try:
                    part = os.read(self._hand, 4096)
                except OSError:  # All is said.
                    part = b""
                assert part, f"{words!r} does not come: {self.screen[self._seen :]!r}"
            self.screen += part.decode().replace("\r\n", "\n")
            assert time.monotonic() < end, f"{words!r} does not come: {self.screen[self._seen :]!r}"
        start, self._seen = self._seen, at + len(words)
        return self.screen[start : self._seen]

    def prompt(self) -> int:
        """Wait for the next prompt, and return the tooth that is asked for."""
        said = self.until(": ")
        while not said.splitlines()[-1].lstrip("\a").startswith("tooth "):
            said = self.until(": ")
        return asked_tooth(said.splitlines()[-1].lstrip("\a"))

    def type(self, text: str) -> None:
        """Type a line, or keys that end one."""
        os.write(self._hand, text.encode())

    def end(self) -> int:
        """Read all that is still said, and return the status."""
        while True:
            try:
                part = os.read(self._hand, 4096)
            except OSError:
                break
            if not part:
                break
            self.screen += part.decode().replace("\r\n", "\n")
        return self.process.wait(20)

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
