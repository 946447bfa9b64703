"""PDF files that this package wrote, put together as the pages of one."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from itertools import count
from typing import IO

_REFERENCE = re.compile(rb"(\d+) 0 R")
_HEAD = b"%PDF-1.4\n%\xac\xdc \xab\xba\n"
_ROOT, _TREE, _ABOUT = 1, 2, 3


def join(files: Iterable[bytes], out: IO[bytes]) -> None:
    """Write the pages of PDF files one after another, as they are, into one.

    The files are as Matplotlib writes them: every object stands by itself, where the table of the
    file says.
    """
    places: dict[int, int] = {}
    kids: list[bytes] = []
    numbers = count(_ABOUT + 1)
    at = out.write(_HEAD)

    def put(number: int, held: bytes) -> None:
        nonlocal at
        places[number] = at
        at += out.write(b"%d 0 obj\n%sendobj\n" % (number, held))

    for held in files:
        objects, tree = _objects(held)
        own = _named(b"Kids", objects.pop(tree))
        new = {old: next(numbers) for old in objects} | {tree: _TREE}
        for old, one in objects.items():
            put(new[old], _renumbered(one, new))
        kids += [b"%d 0 R" % new[one] for one in own]
    put(_ROOT, b"<< /Type /Catalog /Pages %d 0 R >>\n" % _TREE)
    put(_TREE, b"<< /Type /Pages /Kids [ %s ] /Count %d >>\n" % (b" ".join(kids), len(kids)))
    put(_ABOUT, b"<< /Creator (bladegeom) /Producer (Matplotlib, joined by bladegeom) >>\n")
    out.write(b"xref\n0 %d\n0000000000 65535 f \n" % (len(places) + 1))
    out.writelines(b"%010d 00000 n \n" % places[number] for number in sorted(places))
    said = b"trailer\n<< /Size %d /Root %d 0 R /Info %d 0 R >>\nstartxref\n%d\n%%%%EOF\n"
    out.write(said % (len(places) + 1, _ROOT, _ABOUT, at))


def _renumbered(held: bytes, new: Mapping[int, int]) -> bytes:
    # What follows a dictionary is not read: it may hold anything.
    said, stream, rest = held.partition(b"stream\n")
    return _REFERENCE.sub(lambda old: b"%d 0 R" % new[int(old[1])], said) + stream + rest


def pages_in(held: bytes) -> int:
    """Return how many pages a PDF file has."""
    objects, tree = _objects(held)
    return len(_named(b"Kids", objects[tree]))


def _objects(held: bytes) -> tuple[dict[int, bytes], int]:
    """Return what a file holds by number, but for its root and what is said about it.

    The second is the number of the tree of pages.
    """
    start = int(held[held.rindex(b"startxref") :].split()[1])
    table, _, trailer = held[start:].partition(b"trailer")
    offsets = {
        number: int(line.split()[0])
        for number, line in enumerate(table.split(b"\n")[2:])
        if line.endswith(b"n ")
    }
    ends = dict(zip(sorted(offsets.values()), [*sorted(offsets.values())[1:], start], strict=True))
    objects = {}
    for number, place in offsets.items():
        one = held[place : ends[place]]
        objects[number] = one[one.index(b"obj\n") + 4 : one.rindex(b"endobj")]
    del objects[_named(b"Info", trailer)[0]]
    return objects, _named(b"Pages", objects.pop(_named(b"Root", trailer)[0]))[0]


def _named(key: bytes, held: bytes) -> list[int]:
    """Return the numbers of the objects that a dictionary refers to under a key."""
    said = held.partition(b"/%s " % key)[2]
    several = said.startswith(b"[")
    return [int(one) for one in _REFERENCE.findall(said.partition(b"]" if several else b"/")[0])]
