"""What the eye found of a blade, in words: nothing, a fault, or words that do not say which.

A blade passes on these words and is put out of service on them, so both are read narrowly: words
say that nothing was found only where each of them is known, and that there is a fault only where
one is named and nothing near it takes it back. Everything else is asked.
"""

from __future__ import annotations

import re
import unicodedata

from bladegeom.faults import Fault
from bladegeom.tables._damage import is_ditto

BLANK, NOTHING, FAULT, UNCLEAR = "", "nothing", "fault", "unclear"
"""What the words come to."""

_NOT_SAID = ("", "-", "--", "\u2013", "\u2014", "n/a", "no")
"""Found nothing, or did not look: as a blank cell, neither is claimed."""

_NO = "no|without|zero|0|nil|free of|free from"
_STATE = (
    "cracked|fractured|chipped|broken|snapped|split|torn|missing|lost|loose|damaged|burnt|burned|"
    "scorched|overheated|blued|dented|kinked|gouged|defective|faulty"
)
_FAULTS = (
    "cracks?|cracking|fractures?|chips?|chipping|damage|burns?|dents?|kinks?|gouges?|defects?|"
    "faults?|(?:heat|burn|scorch) (?:marks?|spots?)"
)
_VAGUE = "flaws?|marks?|problems?|issues?|findings?"
_PART = "tips?|tooth|teeth|carbides?|segments?"
_ONE = f"(?:(?:{_STATE}) )*(?:{_FAULTS}|{_VAGUE})|(?:(?:{_STATE}) )+(?:{_PART})"
_MORE = (
    f"(?:(?:{_STATE}) )*(?:{_FAULTS}|{_VAGUE})|(?:(?:{_STATE}) )+(?:tips|teeth|carbides|segments)"
)
_LIST = f"(?:{_ONE})(?:(?: , (?:{_MORE}))* (?:or|nor) (?:{_MORE}))?"
_SEEN = "(?: (?:found|seen|visible|present|noted|detected|anywhere|at all|by eye))*"
_NONE = (
    rf"(?:none|nothing|nil)(?: (?:wrong|missing|broken|cracked|damaged|to report|to see))?{_SEEN}"
)
_NOTHING = re.compile(
    "(?:(?:the )?(?:blade|plate) )?(?:(?:is|has|shows) )?(?:"
    f"{_NONE}"
    rf"|(?:{_NO}) (?:(?:visible|obvious) )?(?:(?:signs?|traces?) of )?(?:an? |any )?"
    rf"(?:{_LIST}|(?:{_PART}) (?:{_STATE})){_SEEN}"
    rf"|not (?:{_STATE})(?: (?:or|nor) (?:{_STATE}))*"
    rf"|(?:{_ONE}) (?:none|nil|0|zero|no){_SEEN}"
    "|(?:crack|chip|damage|defect|fault) free"
    "|(?:(?:all|everything|it|looks|is|very|by eye|visually) )*"
    "(?:ok|okay|good|fine|clean|clear|sound|intact|perfect|undamaged|uncracked|unbroken|unchipped|"
    "flawless|faultless|passed|in order)(?: (?:condition|order|by eye|visually))*"
    ")"
)
_DENIAL = re.compile(f"{_NONE}|no|0|zero")
"""Beside a fault it may deny that very fault: cracks, none."""

_FAULTY = re.compile(
    rf"\b(?:{_FAULTS}|{_STATE}|scrap|scrapped|rejected|unsafe|out of service"
    r"|wrong (?:bore|speed|size)|bore (?:is )?(?:wrong|worn|oversize|too large))\b"
)
_LACKING = re.compile(r"missing|lost|loose")
"""Faults only of a part of the blade: a label may be missing too."""


def _word(words: str) -> re.Pattern[str]:
    return re.compile(rf"(?<!\S)(?:{words})(?!\S)")


_NOT = _word(
    r"no|not|none|nothing|nil|0|zero|without|never|nor|neither|free|non|cannot|\S+n't|kein|keine|"
    "keinen|nein|nicht|ohne|pas|sans|sin|senza|geen|niet|zonder|ingen|ikke|nej"
)
_MENDED = _word(
    "repaired|replaced|fixed|mended|renewed|removed|ground|filed|brazed|rebrazed|retipped|welded|"
    "cured"
)
_DOUBT = _word(
    r"\?|maybe|perhaps|possible|possibly|might|may|could|unsure|uncertain|suspect|suspected|"
    "probable|probably|likely|check|checked|recheck|look|looked|looking|looks|inspect|inspected|"
    "if|unless|hardly|barely|scarcely|almost|nearly|like|seem|seems|appears|"
    "old|previous|previously|earlier|before|was|were|been|gone"
)
_AFRESH = _word(r"one|two|three|four|five|several|some|a|an|at|is|are|has|\d+")
"""Words that begin a statement of its own behind a comma, not more of what is not there."""

_STOP = re.compile(r"\.(?!\d)|;")
_TURN = re.compile(r"\b(?:but|however|though|although|except(?: for)?|apart from)\b")
_COMMA = re.compile(r"[,/&+()\[\]]| [-\u2013\u2014] |\band\b")
_WORD = re.compile(r"[^\W_]+(?:[.'][^\W_]+)*|[?,]")


def eye_says(text: str) -> str:
    """Return what words of the eye come to: `BLANK`, `NOTHING`, `FAULT` or `UNCLEAR`.

    Parameters
    ----------
    text : str
        In English. Words that are not known, doubt and ditto marks are unclear.
    """
    said = unicodedata.normalize("NFKC", text).casefold().replace("\u2019", "'").strip()
    if (said.rstrip(".") or said) in _NOT_SAID:
        return BLANK
    if is_ditto(said):
        return UNCLEAR
    said = re.sub(r"\bo\.k\b", "ok", said)
    said = re.sub(r"\bw/o\b", "without", said)
    said = re.sub(r"\bn(?:o|r)\b\.? ?(?=[1-9])", "number ", said)
    found: set[str] = set()
    for sentence in _STOP.split(said):
        turns = _TURN.split(sentence)
        for statement in turns:
            kinds = _of_statement(statement)
            found.update(kinds or ([UNCLEAR] if len(turns) > 1 else []))
    if FAULT in found:
        return UNCLEAR if _MENDED.search(_plain(said)) or _denied(said) else FAULT
    return NOTHING if found == {NOTHING} else UNCLEAR


def eye_fault(text: str, blade: str | None, where: str = "") -> Fault | None:
    """Return what is wrong with words of the eye; None where they say what was found.

    Parameters
    ----------
    text : str
    blade : str or None
    where : str
        Said before the problem: the row and the table.
    """
    if eye_says(text) != UNCLEAR:
        return None
    if is_ditto(text):
        problem, cure = "stands for what is above it", "write it out"
    else:
        problem = "says neither that nothing was found nor what"
        cure = "say what was found: none, or the fault, such as crack at tooth 7"
    return Fault(f"eye{where}: {text!r} {problem}", cure, blade, None, "eye", text)


def _of_statement(said: str) -> list[str]:
    """Return what each part of a statement comes to; blank parts come to nothing at all."""
    if _NOTHING.fullmatch(_plain(said)):
        return [NOTHING]
    kinds, denied = [], False
    for part in filter(None, map(_plain, _COMMA.split(said))):
        denies = bool(_NOT.search(part))
        if _NOTHING.fullmatch(part):
            kinds.append(NOTHING)
        elif denies or not _names_fault(part) or (denied and not _AFRESH.search(part)):
            kinds.append(UNCLEAR)
        else:
            kinds.append(FAULT)
        denied |= denies
    return kinds


def _names_fault(part: str) -> bool:
    named = {match[0] for match in _FAULTY.finditer(part)}
    if all(map(_LACKING.fullmatch, named)) and part not in named:
        named = named if re.search(rf"\b(?:{_PART})\b", part) else set()
    return bool(named) and not _DOUBT.search(part)


def _denied(said: str) -> bool:
    parts = [
        part
        for sentence in _STOP.split(said)
        for statement in _TURN.split(sentence)
        for part in _COMMA.split(statement)
    ]
    return any(_DENIAL.fullmatch(_plain(part)) for part in parts)


def _plain(said: str) -> str:
    return " ".join(_WORD.findall(said))
