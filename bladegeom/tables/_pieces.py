"""A giant table some blades at a time, so that memory need not hold all of its readings at once."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import NamedTuple

from bladegeom.faults import RefusedError, Who
from bladegeom.tables._plain import NotPlainError, PlainRows, Tidy, opened, tidy_rows
from bladegeom.tables.blade_facts import folded, read_blade_facts
from bladegeom.tables.blades import Beside, notes_of
from bladegeom.tables.table import Facts

PIECE = 1 << 24
"""Bytes of a table that are read at once; one of less than twice as many is read whole."""

_HEAD = 1 << 18
_NOBODY = ("",)


def tidy_pieces(
    data: bytes,
    name: str,
    stated: Facts,
    blades: str | os.PathLike[str] | None,
    unit: str | None,
) -> Iterator[tuple[Tidy, float]]:
    """Yield what `plain_table` finds, some blades at a time, each with the share read so far.

    The notes come last, with a frame of None.

    Raises
    ------
    NotPlainError
        At any time: where the table has to be read whole. What came before then does not count.
    """
    try:
        second = None if blades is None else read_blade_facts(blades)
        table, _, above = opened(_whole_lines(data[:_HEAD]), name, unit, [])
        beside, seen, refused = Beside(stated, second), _Seen(), set[Who]()
        for part in _cut(data, above, table.place["blade"], table.sheet.separator):
            said: list[str] = []
            one, lines, own_above = opened(part.lines, name, unit, said)
            rows = PlainRows(one, lines, own_above + part.before)
            # Rows that do not fit may be of a blade elsewhere; so may those of another encoding.
            if rows.spoilt or said or own_above != above or not seen.are_new(rows.blades):
                raise NotPlainError
            tidy = tidy_rows(rows, beside, of_more=True)
            refused.update(fault.who for fault in tidy.refused)
            yield tidy, part.share
        yield Tidy(None, [], notes_of(table, second, seen.blades | refused), {}), 1.0
    except RefusedError:
        raise NotPlainError from None  # Reading the whole refuses it too, and says why.


class _Seen:
    """The blades that came, to find one whose rows are not together."""

    def __init__(self) -> None:
        self.blades: set[Who] = set()
        self._owners: dict[str, tuple[str, ...]] = {}

    def are_new(self, blades: list[Who]) -> bool:
        """Add the blades of a piece; return whether none may be one that came before."""
        before = [self._owners.get(who.name, ()) for who in blades]
        owners = [folded(who.customer) for who in blades]
        for who, owner in zip(blades, owners, strict=True):
            self._owners[who.name] = (*self._owners.get(who.name, ()), owner) if owner else _NOBODY
        self.blades.update(blades)
        return not any(
            earlier and (not owner or owner in earlier or "" in earlier)
            for owner, earlier in zip(owners, before, strict=True)
        )


class _Piece(NamedTuple):
    """Some lines of a table under its header, how many lines come before, the share up to here."""

    lines: bytes
    before: int
    share: float


def _cut(data: bytes, above: int, place: int, separator: str) -> Iterator[_Piece]:
    """Cut a table where one blade ends and the next begins; its name stands at a place."""
    begin = 0
    for _ in range(above):
        begin = data.index(b"\n", begin) + 1
    head, before, mark = data[:begin], 0, separator.encode()

    def named(at: int) -> tuple[bytes, int]:
        """Return the name in the line that begins at a place, and where the next line begins."""
        end = data.find(b"\n", at) + 1 or len(data)
        return (data[at:end].split(mark) + [b""] * place)[place].strip(), end

    while begin < len(data):
        at = data.find(b"\n", begin + PIECE) + 1 or len(data)
        if at < len(data):
            blade, at = named(at)
            while at < len(data):
                following, end = named(at)
                if following != blade:
                    break
                at = end
        piece = data[begin:at]
        yield _Piece(head + piece, before, at / len(data))
        before += piece.count(b"\n")
        begin = at


def _whole_lines(data: bytes) -> bytes:
    return data[: data.rfind(b"\n") + 1]
