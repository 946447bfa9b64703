"""The dialogue at the saw, a line in and a few words out; no terminal is in it.

Each reading is kept before the next is asked for. Nothing that was taken is changed but by the
person: a reading that does not fit is asked about, and stays unless another is given.
"""

from __future__ import annotations

import re
import statistics
from collections.abc import Callable
from typing import NamedTuple

from bladegeom.faults import RefusedError
from bladegeom.lengths import MM_PER, NumberError, convert, parse_number
from bladegeom.live.doubtful import Question, questioned
from bladegeom.live.enough import Enough, enough
from bladegeom.live.order import reading_order
from bladegeom.live.taken import Taken
from bladegeom.sizes import MOST_WOBBLE_MM
from bladegeom.tables.out import cell_text
from bladegeom.tables.sheets import decimal_mark

HELP = (
    "Turn the blade by hand, always the same way. A reading grows as the plate comes toward the "
    "dial.",
    "Type each reading and Enter; ? not read, u takes back, g 12 goes to tooth 12, s so far, "
    "q stops and keeps.",
)
"""How to read, and what may be typed."""

_ELSE = "type the reading, or ? u g 12 s q"

READ, CLOSE, DONE, STOPPED = "read", "close", "done", "stopped"
"""What a session is at: a tooth to read, the first one again, the end, or an end before it."""

_HUNDRED = 100.0
_SAME = 0.25
"""A reading taken anew is the same where it differs by no more of what was asked about."""

_DIGITS = 12


class State(NamedTuple):
    """Where a session stands.

    Attributes
    ----------
    taken : Taken
    tooth : int
        The one that is asked for.
    at : str
        One of `READ`, `CLOSE`, `DONE` and `STOPPED`.
    question : Question or None
        About a reading that does not fit; the next number takes its place.
    kept : frozenset of int
        Teeth that were asked about, and whose reading stands.
    offered : bool
        Whether it was said that enough is read.
    """

    taken: Taken
    tooth: int
    at: str = READ
    question: Question | None = None
    kept: frozenset[int] = frozenset()
    offered: bool = False


class Session:
    """Readings taken one by one.

    Parameters
    ----------
    taken : Taken
        What was taken before, if anything.
    save : callable
        Keeps what is taken, or raises RefusedError.
    spread : bool
        Whether the teeth are asked for all round first; then it says when enough is read.
    wanted_deg : float, optional
        The squareness error that may be left; it is said when no more is.
    """

    def __init__(
        self,
        taken: Taken,
        save: Callable[[Taken], None],
        *,
        spread: bool = False,
        wanted_deg: float | None = None,
    ) -> None:
        self._save, self._wanted = save, wanted_deg
        self._offers = spread or wanted_deg is not None
        self._order = reading_order(taken.blade.teeth, spread)
        self._past: list[State] = []
        last = taken.rows[-1][0] if taken.rows else 0
        closed = State(taken, last, CLOSE, offered=True)
        self.state = closed if taken.closed else self._on(State(taken, last))

    @property
    def ended(self) -> bool:
        """Whether nothing more is asked for."""
        return self.state.at in (DONE, STOPPED)

    @property
    def waits(self) -> bool:
        """Whether something else is asked than the next tooth, so that no line is for it yet."""
        state = self.state
        return state.question is not None or (state.at == CLOSE and not state.taken.whole)

    @property
    def prompt(self) -> str:
        """What is asked for now."""
        state = self.state
        if state.question is not None:
            return f"tooth {state.question.tooth} again: "
        return f"tooth {state.tooth}{' again' * (state.at == CLOSE)}: "

    @property
    def known(self) -> Enough | None:
        """What is known so far; None while nothing is read."""
        taken, kept = self.state.taken, self.state.kept
        return None if taken.first is None else enough(taken.readings(), self._wanted, kept)

    def opening(self) -> list[str]:
        """Return what is said before the first reading."""
        taken = self.state.taken
        said = [*HELP]
        if taken.rows:
            said.insert(
                0,
                f"{len(taken.asked)} of {taken.blade.teeth} teeth are taken already. Go on only if "
                "blade, base and dial stand as they did then; else begin another file.",
            )
        return [*said, *self._asks()]

    def ending(self) -> list[str]:
        """Return what is said at the end."""
        known, taken = self.known, self.state.taken
        if self.state.at != DONE:
            count = f"{len(taken.asked)} of {taken.blade.teeth} teeth"
            return [f"{count} are kept; the same command goes on."]
        return [known.unknown] if known is not None and known.unknown else []

    def take(self, line: str, *, typed: bool = True) -> list[str]:
        """Take a line, of the keyboard or else of a device, and return what is to be said."""
        text = line.strip()
        word = text.lower()
        if typed and (go := re.fullmatch(r"g\s*([0-9]{0,9})", word)):
            return self._go(go[1])
        if typed and word in _COMMANDS:
            return _COMMANDS[word](self)
        try:
            value = parse_entry(text, self.state.taken.unit)
        except NumberError as error:
            return [f"{error.problem}; {error.cure or _ELSE}"]
        return self._enter(value, text)

    # What is typed beside numbers

    def _blank(self) -> list[str]:
        state = self.state
        if state.question is None:
            return [f"nothing is typed; {_ELSE}"]
        self.state = state._replace(question=None, kept=state.kept | {state.question.tooth})
        return self._look()

    def _unread(self) -> list[str]:
        return self._enter(None, "?")

    def _back(self) -> list[str]:
        state = self.state
        if not state.taken.rows:
            return ["there is nothing to take back"]
        tooth, value = state.taken.rows[-1]
        before = self._past[-1] if self._past else self._without_last()
        if fault := self._keep(before.taken):
            return fault
        self._past = self._past[:-1]
        self.state = before
        said = [f"taken back: tooth {tooth}, {_shown(value)}"]
        return [*said, *self._asks()]

    def _without_last(self) -> State:
        """Return where a session stood before the last reading of an earlier one."""
        taken = self.state.taken
        before, tooth = taken._replace(rows=taken.rows[:-1]), taken.rows[-1][0]
        return State(before, tooth, CLOSE if taken.closed else READ, offered=taken.closed)

    def _so_far(self) -> list[str]:
        known, asked = self.known, self.state.taken.asked
        said = ["nothing is read yet"] if known is None else [known.words]
        unread = [str(tooth) for tooth, value in sorted(asked.items()) if value is None]
        return said + [f"not read: {', '.join(unread)}"] * bool(unread)

    def _quit(self) -> list[str]:
        state = self.state
        # At the closing reading nothing else is missing.
        self.state = state._replace(at=DONE if state.at == CLOSE else STOPPED, question=None)
        return []

    def _go(self, number: str) -> list[str]:
        state, asked = self.state, self.state.taken.asked
        kept = state.kept | ({state.question.tooth} if state.question else set())
        state = state._replace(question=None, kept=kept)
        if not number and (state.at == CLOSE or state.tooth in asked):
            self.state = self._on(state)
            return self._asks()
        if not number:
            return ["say which tooth: g 12"]
        tooth, teeth = int(number), state.taken.blade.teeth
        if not 1 <= tooth <= teeth:
            return [f"tooth {tooth} on a {teeth}-tooth blade; teeth count from 1 to {teeth}"]
        self.state = state._replace(tooth=tooth, at=READ)
        if tooth not in asked:
            return []
        return [f"tooth {tooth} is {_shown(asked[tooth])}: a new reading takes its place"]

    # Readings

    def _enter(self, value: float | None, text: str) -> list[str]:
        """Take a reading, or that a tooth is not read; it is kept before anything else is done."""
        state, asked = self.state, self.state.question
        tooth = state.tooth if asked is None else asked.tooth
        if state.at == CLOSE and (asked is None or asked.closing):
            taken = state.taken.closing(value)
            before = state.taken.rows[-1][1] if state.taken.closed else None
        else:
            taken, before = state.taken.reading(tooth, value), state.taken.asked.get(tooth)
        if fault := self._keep(taken):
            return fault
        self._past.append(state)
        kept = state.kept - {tooth}
        said = []
        if asked is not None and value is not None and before is not None:
            # The same again answers the question.
            same = abs(value - before) <= abs(asked.off) * _SAME
            kept |= {tooth} if same else set()
            said = ["It reads the same again, and stands."] * same
        self.state = state._replace(taken=taken, question=None, kept=kept)
        if before is not None and before != value:
            said.append(f"tooth {tooth} is {_shown(value)} in place of {_shown(before)}")
        elif before is None and value is not None and text.lstrip("+") != cell_text(value):
            said = [f"= {cell_text(value)} {taken.unit}"]
        return [*said, *self._look()]

    def _keep(self, taken: Taken) -> list[str]:
        try:
            self._save(taken)
        except RefusedError as error:
            return [f"not kept: {fault}" for fault in error.faults]
        return []

    def _look(self) -> list[str]:
        """Ask about a reading that does not fit; else say whether enough is read, and go on."""
        state = self.state
        taken = state.taken
        if taken.rows[-1][1] is not None:
            asked = questioned(taken.readings(), state.kept) or _far(taken, state.kept)
            if asked is not None:
                self.state = state._replace(question=asked)
                return self._asks()
        known = self._known_enough()
        if known is not None and known.enough and not taken.whole and not taken.closed:
            self.state = state._replace(at=CLOSE, tooth=taken.first or 0, offered=True)
            return [known.words, *self._asks()]
        self.state = state._replace(at=DONE) if taken.closed else self._on(state)
        if self.state.at != CLOSE:
            return []
        return [*([] if self.known is None else [self.known.words]), *self._asks()]

    def _known_enough(self) -> Enough | None:
        """Return what is known where it may end the reading early."""
        return self.known if self._offers and not self.state.offered else None

    def _on(self, state: State) -> State:
        """Return the state in which what comes next is asked for."""
        taken = state.taken
        if taken.closed and taken.whole:
            return state._replace(at=DONE)
        if taken.whole:
            at = DONE if taken.first is None else CLOSE
            return state._replace(at=at, tooth=taken.first or 0)
        place = self._order.index(state.tooth) + 1 if state.tooth else 0
        rest = self._order[place:] + self._order[:place]
        return state._replace(at=READ, tooth=next(one for one in rest if one not in taken.asked))

    def _asks(self) -> list[str]:
        """Return why something else than the next tooth is asked for."""
        state = self.state
        if state.question is not None:
            return [state.question.words]
        if state.at != CLOSE:
            return []
        on = "" if state.taken.whole else "; g reads on, for bends and single teeth"
        if state.taken.closed:
            return [f"The turn is closed. q leaves it so{on}."]
        return [f"Now the first tooth again: it shows if the stand moved (? leaves it out{on})."]


def parse_entry(text: str, unit: str) -> float:
    """Return a reading as people and devices write it, in the unit of the readings.

    Raises
    ------
    NumberError
        If it is no number, or could be two.
    """
    written = re.fullmatch(rf"(.*?)\s*({'|'.join(MM_PER)})?", text, re.IGNORECASE | re.DOTALL)
    assert written is not None  # Anything fits.
    body, own = written[1], (written[2] or unit).lower()
    mark = "."
    if "," in body and "." not in body:
        try:
            mark = decimal_mark([(0, body)], "\n")
        except RefusedError:
            either = f"{body.replace(',', '.')} or {body.replace(',', '')}"
            raise NumberError(f"{body} could be {either}", "write it with a point") from None
    try:
        value = parse_number(body, mark)
    except NumberError:
        value = None
    if value is None:
        raise NumberError(f"{text[:40]!r} is no number", "")
    return value if own == unit else float(f"{convert(value, own, unit):.{_DIGITS}g}")


def _far(taken: Taken, kept: frozenset[int]) -> Question | None:
    """Return a reading where it lies farther from the others than any blade wobbles.

    The law of the curve needs eight readings; a lost decimal point is plain from the second.
    """
    read = {tooth: value for tooth, value in taken.asked.items() if value is not None}
    judged = [tooth for tooth in read if tooth not in kept]
    if taken.closed or len(read) < 2 or not judged:
        return None
    middle = statistics.median(read.values())
    tooth = max(reversed(judged), key=lambda one: abs(read[one] - middle))
    value = read[tooth]
    others = {one: other for one, other in read.items() if one != tooth}
    low, high = min(others.values()), max(others.values())
    largest = max(map(abs, others.values()))
    apart = convert(max(value - high, low - value), taken.unit, "mm") > MOST_WOBBLE_MM
    many = len(others) > 2 and 0 < _HUNDRED * largest <= abs(value)
    if not apart and not many:
        return None
    between = cell_text(low) if low == high else f"{cell_text(low)} to {cell_text(high)}"
    said = f"tooth {tooth} reads {cell_text(value)} {taken.unit}, the others {between}"
    words = f"{said}: read it again, or Enter to keep"
    if len(others) == 1:  # And nothing tells which.
        words += f"; g {next(iter(others))} if that one is the slip"
    return Question(tooth, value - (low + high) / 2, words)


def _shown(value: float | None) -> str:
    return "not read" if value is None else cell_text(value)


_COMMANDS: dict[str, Callable[[Session], list[str]]] = {
    "": Session._blank,
    "?": Session._unread,
    "u": Session._back,
    "s": Session._so_far,
    "q": Session._quit,
}
