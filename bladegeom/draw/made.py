"""What a run makes in its folder, and what earlier runs made there.

Before a run makes anything, everything that earlier runs made is moved aside, the queue first, so
that no verdict of theirs stands where those of this run are looked for; what this run would make
just the same is brought back. A list says what runs made. It is written before the files are, so
that it is right whenever a run is stopped. No other file is touched.
"""

from __future__ import annotations

import filecmp
import hashlib
import io
import os
import re
import unicodedata
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import count
from pathlib import Path, PurePosixPath

from bladegeom.draw.day import DAY, LABELS
from bladegeom.draw.queue import ENDINGS, QUEUE, queue_files
from bladegeom.faults import as_letters, refuse
from bladegeom.tables.blades import some_of
from bladegeom.tables.out import UNFINISHED, locked, whole_file

LIST, SHEETS, ASIDE = "made_by_batch.txt", "sheets", "earlier"
_HEAD = "Files that bladegeom batch made here. It moves and replaces these, and no others."
_PRINTED = {Path(name).stem: ("pdf",) for name in (DAY, LABELS)}
_TABLES = "|".join(
    rf"{name}(?:-\d+)?\.(?:{'|'.join(one)})" for name, one in (ENDINGS | _PRINTED).items()
)
_OWN = re.compile(rf"(?:{ASIDE}/)?(?:{_TABLES}|{SHEETS}/[^/\\]+\.pdf)")
"""What a list may name: one that was tampered with leads nowhere else."""

_LEFT = re.compile(rf"{re.escape(UNFINISHED)}[a-z0-9_]{{8}}\.(?:csv|json|xlsx|pdf|txt)")
"""What a run that was killed leaves; see `bladegeom.tables.out.whole_file`."""

_LONGEST = 60
_NOT_IN_NAMES = re.compile(r'[<>:"/\\|?*\s\x00-\x1f\x7f~%]+')
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", re.IGNORECASE)
"""Of names of files that are to hold on every system."""


def files_of(out: str | os.PathLike[str]) -> list[Path]:
    """Return the files that a run may write, move or remove in a folder."""
    folder = Path(out)
    return [folder / LIST, *_named(folder), *(folder / one for one in _listed(folder))]


def _named(folder: Path) -> list[Path]:
    """Return the files whose names are always the same."""
    return [*queue_files(folder), folder / DAY, folder / LABELS]


class Made:
    """The folder of a run, made if it is not there; what earlier runs made in it is moved aside.

    It is refused where it cannot be written, another run is at work in it, or files that no run
    made stand where the queue goes. `close` lets other runs in again.
    """

    def __init__(self, out: str | os.PathLike[str]) -> None:
        self.folder = Path(out)
        with self._told():
            self.folder.mkdir(parents=True, exist_ok=True)
        self._alone = _locked(self.folder)
        try:
            self._begin()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let other runs in again."""
        if self._alone is not None:
            os.close(self._alone)
            self._alone = None

    def _begin(self) -> None:
        self._listed = _listed(self.folder)
        self._moved: dict[str, str] = {}
        self._renamed: list[str] = []
        self._stuck: set[str] = set()
        for path in _named(self.folder):
            if os.path.lexists(path) and path.name not in self._listed:
                raise refuse(
                    f"{path} is there already, and no run made it (it is not in {LIST})",
                    "move it away, or choose another folder: nothing was written",
                    value=path,
                )
        with self._told():
            (self.folder / SHEETS).mkdir(parents=True, exist_ok=True)
            for part in (self.folder, self.folder / SHEETS):
                for left in part.glob(f"{UNFINISHED}*"):
                    if _LEFT.fullmatch(left.name) and not left.is_symlink():
                        left.unlink()  # Of a run that was killed: no other is at work here.
            self._set_aside()

    def places(self, names: Sequence[str]) -> list[Path]:
        """Return where sheets of these names go: never to where a file is, for no run made it."""
        taken = {f"{name}.pdf".casefold() for name in names}
        found = []
        for name in names:
            own = f"{name}.pdf"
            free = next(
                one
                for one in _numbered(own)
                if (one == own or one.casefold() not in taken)
                and not os.path.lexists(self.folder / SHEETS / one)
            )
            taken.add(free.casefold())
            if free != own:
                why = "no run made"
                if f"{SHEETS}/{own}" in self._stuck:
                    why = "of an earlier run and open elsewhere, so that it stays, is"
                said = f"{why} {SHEETS}/{own}: the sheet of this run is {SHEETS}/{free}"
                self._renamed.append(said)
            found.append(self.folder / SHEETS / free)
        self._listed |= {path.name for path in _named(self.folder)}
        self._listed |= {f"{SHEETS}/{path.name}" for path in found}
        self._write_list()
        return found

    def bring_back(self, sheet: Path, digest: str) -> bool:
        """Bring back a sheet that an earlier run made of the same; return whether there is one."""
        own = f"(digest {digest})".encode()
        with self._told():
            for aside in self._asides(f"{SHEETS}/{sheet.name}"):
                if own in (self.folder / aside).read_bytes():
                    try:
                        os.replace(self.folder / aside, sheet)
                    except PermissionError:  # It is open elsewhere; the sheet is drawn anew.
                        continue
                    self._no_longer_aside(f"{SHEETS}/{sheet.name}", aside)
                    return True
        return False

    def finish(self, queue: Sequence[Path]) -> None:
        """Remove what lies aside and is the same as the queue now written; set the list right."""
        with self._told():
            for path in queue:
                for aside in self._asides(path.name):
                    if filecmp.cmp(path, self.folder / aside, shallow=False):
                        (self.folder / aside).unlink()
                        self._no_longer_aside(path.name, aside)
            self._listed = {one for one in self._listed if (self.folder / one).exists()}
            self._write_list()
            for part in (self.folder / ASIDE / SHEETS, self.folder / ASIDE):
                if part.is_dir() and not any(part.iterdir()):
                    part.rmdir()

    @property
    def notes(self) -> list[str]:
        """Which sheets have another name, and what was moved aside and lies there."""
        if not self._moved:
            return self._renamed
        what = some_of(sorted(self._moved))
        return [*self._renamed, f"of an earlier run, moved to {self.folder / ASIDE}: {what}"]

    def _set_aside(self) -> None:
        """Move aside what earlier runs made; a sheet that is open elsewhere stays."""
        moved: dict[str, str] = {}
        for name in sorted(self._listed, key=lambda one: (not one.startswith(QUEUE), one)):
            path = self.folder / name
            if name.startswith(f"{ASIDE}/") or not path.exists():
                continue
            moved[name] = next(
                aside
                for aside in _numbered(f"{ASIDE}/{name}")
                if aside not in moved.values() and _may_lie(path, self.folder / aside)
            )
        self._listed |= {*moved.values()}
        if moved:
            self._write_list()
        for name, aside in moved.items():
            (self.folder / aside).parent.mkdir(parents=True, exist_ok=True)
            try:
                os.replace(self.folder / name, self.folder / aside)
            except PermissionError:
                if not name.startswith(SHEETS):
                    raise
                self._stuck.add(name)
        self._moved = {name: aside for name, aside in moved.items() if name not in self._stuck}

    def _asides(self, name: str) -> list[str]:
        """Return what lies aside and may have been moved there from a name."""
        path = PurePosixPath(ASIDE, name)
        own = re.compile(rf"{re.escape(str(path.with_suffix('')))}(?:-\d+)?{path.suffix}")
        return sorted(
            one for one in self._listed if own.fullmatch(one) and (self.folder / one).exists()
        )

    def _no_longer_aside(self, name: str, aside: str) -> None:
        if self._moved.get(name) == aside:
            del self._moved[name]

    def _write_list(self) -> None:
        with (
            whole_file(self.folder / LIST) as file,
            io.TextIOWrapper(file, "utf-8", newline="\n") as text,
        ):
            text.writelines(f"{line}\n" for line in (_HEAD, *sorted(self._listed)))

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            what = error.filename or self.folder
            raise refuse(
                f"{what} cannot be made, moved or removed: {error.strerror}",
                "close it where it is open, or choose another folder",
                value=what,
            ) from None


def _locked(folder: Path) -> int | None:
    """Keep other batches out of a folder; see `locked`."""
    try:
        return locked(folder)
    except BlockingIOError:
        raise refuse(
            f"another batch is at work in {as_letters(folder)}",
            "wait until it is done, or choose another folder: nothing was written",
            value=folder,
        ) from None


def _listed(folder: Path) -> set[str]:
    """Return what the list of a folder names; a file of its name that is no list is refused."""
    path = folder / LIST
    try:
        head, *lines = path.read_text("utf-8").split("\n")
    except (FileNotFoundError, NotADirectoryError):
        return set()
    except (OSError, UnicodeDecodeError):
        head, lines = "", []
    if head != _HEAD:
        raise refuse(
            f"{path} is not the list of what runs made there",
            "move it away, or choose another folder: nothing was written",
            value=path,
        )
    return {line for line in lines if _OWN.fullmatch(line)}


def _numbered(name: str) -> Iterator[str]:
    """Yield a name, and the same with a number before its ending: a.pdf, a-2.pdf, a-3.pdf ..."""
    path = PurePosixPath(name)
    yield name
    for number in count(2):
        yield str(path.with_stem(f"{path.stem}-{number}"))


def _may_lie(path: Path, aside: Path) -> bool:
    """Return whether a file may be moved there: nothing is there, or the same."""
    return not os.path.lexists(aside) or (
        aside.is_file() and filecmp.cmp(path, aside, shallow=False)
    )


def file_names(identifiers: Sequence[str]) -> list[str]:
    """Return a file name, without its ending, for each of some identifiers, all different.

    A name that is safe as it is stays. Where anything had to be changed, or where two names differ
    only in case or in how their letters are composed, some digits of the identifier's digest are
    put behind, so that each keeps its own file whatever else is in the batch.
    """
    plain = [_plain(one) for one in identifiers]
    folded = Counter(_folded(one) for one in plain)
    names = []
    for name, given in zip(plain, identifiers, strict=True):
        if name != given or folded[_folded(name)] > 1:
            digits = hashlib.sha256(given.encode("utf-8", "surrogatepass")).hexdigest()[:8]
            name = f"{name}-{digits}"
        names.append(name)
    return names


def _plain(identifier: str) -> str:
    name = unicodedata.normalize("NFC", identifier)
    name = "".join(one for one in name if unicodedata.category(one)[0] != "C" or one in "\t\n\r")
    name = _NOT_IN_NAMES.sub("_", name).strip("._- ")[:_LONGEST].strip("._- ")
    return f"_{name}" if not name or _RESERVED.fullmatch(name) else name


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()
