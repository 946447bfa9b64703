"""Names of files that hold on every system, whatever a blade is called."""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections import Counter
from collections.abc import Sequence

_LONGEST = 60
_NOT_IN_NAMES = re.compile(r'[<>:"/\\|?*\s\x00-\x1f\x7f~%]+')
_RESERVED = re.compile(r"(con|prn|aux|nul|com[0-9]|lpt[0-9])(\..*)?", re.IGNORECASE)


def file_names(identifiers: Sequence[str]) -> list[str]:
    """Return a file name, without its ending, for each identifier.

    A name that is safe as it is stays. Where anything had to be changed, or where two names differ
    only in case or in how their letters are composed, some digits of the identifier's digest are
    put behind, so that each keeps its own file whatever else is in the batch.

    Parameters
    ----------
    identifiers : sequence of str
        All of them different.

    Returns
    -------
    list of str
    """
    plain = [_plain(one) for one in identifiers]
    folded = Counter(_folded(one) for one in plain)
    return [
        name if name == given and folded[_folded(name)] == 1 else f"{name}-{_digits(given)}"
        for name, given in zip(plain, identifiers, strict=True)
    ]


def _plain(identifier: str) -> str:
    name = unicodedata.normalize("NFC", identifier)
    name = "".join(one for one in name if unicodedata.category(one)[0] != "C" or one in "\t\n\r")
    name = _NOT_IN_NAMES.sub("_", name).strip("._- ")[:_LONGEST].strip("._- ")
    return f"_{name}" if not name or _RESERVED.fullmatch(name) else name


def _folded(name: str) -> str:
    return unicodedata.normalize("NFKC", name).casefold()


def _digits(identifier: str) -> str:
    return hashlib.sha256(identifier.encode("utf-8", "surrogatepass")).hexdigest()[:8]
