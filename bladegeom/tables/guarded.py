"""Texts in tables that a spreadsheet must not run."""

from __future__ import annotations

_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def as_text(text: str) -> str:
    """Return a text that no spreadsheet runs as a formula: an apostrophe before what it would."""
    return f"'{text}" if text.lstrip("'").startswith(_FORMULA) else text


def from_text(cell: str) -> str:
    """Undo `as_text`."""
    guarded = cell.startswith("'") and cell.lstrip("'").startswith(_FORMULA)
    return cell[1:] if guarded else cell
