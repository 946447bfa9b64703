"""A reading of a saw that is added to the log at the end of its file."""

from __future__ import annotations

import json
import os
import re
import shlex
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import NamedTuple

from bladegeom.faults import Fault, RefusedError, refuse, unknown_name
from bladegeom.lengths import NumberError
from bladegeom.saw._saw_file import LOG, PARTS, SawFile, read_saw, section_named
from bladegeom.saw.setup import SetUp, set_up_from
from bladegeom.tables.out import locked, whole_file
from bladegeom.tables.text import decode, encoding_of, read_bytes
from bladegeom.tables.toml import Kind, Section

_LIKE = "write it like slots front=12.0 12.5 thou back=11.0 11.5 thou"


class Recorded(NamedTuple):
    """What was added, and what follows from it."""

    setup: SetUp
    at: datetime
    entries: tuple[tuple[str, dict[str, str]], ...]
    """Part, such as ``slots`` or ``bevel 2``, and key -> value as it stands in the file."""


def record(
    path: str | os.PathLike[str], readings: Sequence[str], *, at: datetime | None = None
) -> Recorded:
    """Add readings to the log of a saw's file, and set the saw up from it.

    They are checked as if they stood in the file, and added at its end: what stands there stays,
    byte for byte. The file is written anew, whole or not at all; nobody who records into it at the
    same time is lost, nor what an editor wrote meanwhile.

    Parameters
    ----------
    path : path
    readings : sequence of str
        Part, and keys with their values, ``slots front=12.0 12.5 thou back=11.0 thou``; a word
        without an equals sign belongs to the value before it. A length without a unit has that
        which the file has for this key.
    at : datetime, optional
        When they were read, by the clock of the place; now if not given.

    Raises
    ------
    RefusedError
        If the file cannot be used with them; it is as it was then.
    """
    given = [_said(one) for one in readings]
    # In the order of work: what is moved first is read first.
    given.sort(key=lambda one: [*PARTS, one[0].partition(" ")[0]].index(one[0].partition(" ")[0]))
    target = Path(os.path.realpath(path))
    while True:
        handle = locked(target.parent, wait=True)
        try:
            data = read_bytes(path)
            now = at or datetime.now().replace(microsecond=0)
            text = decode(data, os.fspath(path))
            held = read_saw(path, data)
            entries = tuple((title, _values(held, text, title, said)) for title, said in given)
            new = data + _entries(text, entries, now).encode(encoding_of(data)[1])
            setup = _checked(path, held, new, len(text.splitlines()), now)
            if _written(target, data, new):
                return Recorded(setup, now, entries)
        finally:
            if handle is not None:
                os.close(handle)


def _said(words: str) -> tuple[str, dict[str, str]]:
    """Return the part and the values that a reading names."""
    lexer = shlex.shlex(re.sub(r"\s*=\s*", "=", words), posix=True, punctuation_chars=False)
    lexer.whitespace_split, lexer.escape, lexer.commenters = True, "", ""
    try:
        each = [*lexer]
    except ValueError:
        raise refuse(f"{words} has a quote that is not closed", "close it", value=words) from None
    title: list[str] = []
    values: dict[str, list[str]] = {}
    last = title
    for word in each:
        key, sign, value = word.partition("=")
        if not sign:
            last.append(word)
            continue
        if key in values:
            raise refuse(f"{words} says {key} twice", "say it once", column=key, value=words)
        last = values[key] = [value] if value else []
    if not title or not values:
        raise refuse(f"{words!r} names no {'value' if title else 'part'}", _LIKE, value=words)
    return " ".join(title), {key: " ".join(value) for key, value in values.items()}


def _values(held: SawFile, text: str, title: str, said: dict[str, str]) -> dict[str, str]:
    """Return the values of a reading as they are to stand in the file."""
    section = section_named(title, held.parts)
    kinds = PARTS[title.partition(" ")[0]].kinds
    made, faults = {}, []
    for key, value in said.items():
        if key not in kinds:
            faults.append(unknown_name(key, kinds, f"key of {title}"))
            continue
        try:
            made[key] = _value(kinds[key], value, _unit(section, text, key))
        except NumberError as error:
            problem = f"{title} {key}: {error.problem}"
            faults.append(Fault(problem, error.cure, column=key, value=value))
    if faults:
        raise RefusedError(faults)
    return made


def _value(kind: Kind, said: str, unit: str) -> str:
    """Return a value as TOML: as it is said, as a number, or with the unit of the file."""
    wrong: NumberError | None = None
    for one in _meant(said, unit):
        try:
            kind(one)
        except NumberError as error:
            wrong = wrong or error
        else:
            return json.dumps(one, ensure_ascii=False)
    assert wrong is not None
    raise wrong


def _meant(said: str, unit: str) -> Iterator[str | float | bool]:
    yield said
    if said in ("true", "false"):
        yield said == "true"
    for number in (int, float):
        with suppress(ValueError):
            yield number(said)
    if unit:
        yield f"{said} {unit}"
    if " " in said:
        yield f"{said} deg"


def _unit(section: Section, text: str, key: str) -> str:
    """Return the unit that the file has for a key of a part, where it was read last; or none."""
    lines = text.splitlines()
    for one in (*section.later[::-1], section, *filter(None, [section.before])):
        if key in one.rows:
            unit = re.search(r"\b(mm|in|thou|um)\s*[\"']", lines[one.rows[key] - 1])
            return unit[1] if unit else ""
    return ""


def _entries(text: str, entries: Sequence[tuple[str, dict[str, str]]], at: datetime) -> str:
    """Return readings as they are added to a text, with its line ends."""
    lines = [""] if not text or text.endswith("\n") else ["", ""]
    for title, values in entries:
        head = [f"[[{LOG}]]", f"at = {at.isoformat()}", f"part = {json.dumps(title)}"]
        lines += [*head, *(f"{key} = {value}" for key, value in values.items()), ""]
    return ("\r\n" if "\r\n" in text else "\n").join(lines)


def _checked(
    path: str | os.PathLike[str], held: SawFile, new: bytes, rows: int, at: datetime
) -> SetUp:
    """Return what follows from the file as it will be, or refuse it."""
    if held.log and at < held.log[-1].at:
        raise refuse(
            f"it is {at} by the clock, and the log's last reading is of {held.log[-1].at}",
            "set the clock right, or the time in the file",
            value=at,
        )
    try:
        return set_up_from(read_saw(path, new))
    except RefusedError as error:
        # What is to be added stands in no row yet.
        said = [replace(one, row=None) if (one.row or 0) > rows else one for one in error.faults]
        raise RefusedError(said) from None


def _written(target: Path, data: bytes, new: bytes) -> bool:
    """Write the file anew, and return whether it is still as it was read."""
    if not os.access(target, os.W_OK):
        raise refuse(f"{target} may not be written", "check the file's permissions", value=target)
    with suppress(_ChangedError), whole_file(target) as file:
        file.write(new)
        file.flush()
        os.fsync(file.fileno())  # What is its owner's is not lost with the power.
        if read_bytes(target) != data:
            raise _ChangedError
        return True
    return False


class _ChangedError(Exception):
    """The file was changed by others meanwhile."""
