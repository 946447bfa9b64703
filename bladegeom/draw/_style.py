"""The package's own style, whatever a user's settings of Matplotlib; one thread at a time."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from threading import RLock
from typing import ParamSpec, TypeVar

from matplotlib import rc_context, style
from matplotlib.axes import Axes

P = ParamSpec("P")
T = TypeVar("T")

_ONE = RLock()
"""Matplotlib's settings are the whole program's: whoever draws has them alone."""

_WITHIN: list[bool] = []
"""Of those who have them, in standard fonts or not: what is set already is not set again."""

_STANDARD: ContextVar[bool] = ContextVar("standard fonts", default=False)


@contextmanager
def standard_fonts() -> Iterator[None]:
    """Write PDF pages in the fonts that every reader of PDF has: none is put into the file.

    A page is made in about half the time. A text with other letters has its own font put in.
    """
    token = _STANDARD.set(True)
    try:
        yield
    finally:
        _STANDARD.reset(token)


def in_standard_fonts() -> bool:
    """Return whether pages are to be written in the standard fonts."""
    return _STANDARD.get()


@contextmanager
def own_style() -> Iterator[None]:
    """Draw and save as Matplotlib does of itself: a user's settings change no page."""
    said, standard = logging.getLogger("matplotlib.font_manager"), in_standard_fonts()
    with _ONE:
        if _WITHIN[-1:] == [standard]:
            yield
            return
        with style.context("default"), rc_context({"pdf.use14corefonts": standard}):
            level = said.level
            if standard:
                # Helvetica's plain weight is called medium, which would be told for every word.
                said.setLevel(logging.ERROR)
            _WITHIN.append(standard)
            try:
                yield
            finally:
                _WITHIN.pop()
                said.setLevel(level)


def drawn(function: Callable[P, T]) -> Callable[P, T]:
    """Let a chart function draw its page in the own style; on axes given it draws in theirs."""

    @wraps(function)
    def called(*args: P.args, **named: P.kwargs) -> T:
        if any(isinstance(one, Axes) for one in (*args, *named.values())):
            return function(*args, **named)
        with own_style():
            return function(*args, **named)

    return called
