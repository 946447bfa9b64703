"""Objects of the wrong kind get a sentence."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from functools import wraps
from typing import Any, NamedTuple, TypeVar

import numpy as np

from bladegeom.faults import refuse

Made = TypeVar("Made", bound=Callable[..., Any])

MADE_BY = {
    "ArborFit": "separate the arbor first: separate_arbor(fits, clock_deg)",
    "Axes": "draw a chart first: polar_chart(fit)",
    "Blade": "give a blade: Blade(40)",
    "Change": "compare them first: change(before, after)",
    "ClockAdvice": "ask for the advice first: clock_advice(arbor)",
    "Comparison": "give what was predicted and measured: Comparison(...)",
    "Condition": "judge the blade first: assess(fit, limits)",
    "CutWall": "make the wall first: cut_wall(fit, ...)",
    "DataFrame": 'read the table first: read_table("readings.csv")',
    "Estimate": "give a value and how well it is known: Estimate(3.2, 0.1)",
    "Findings": "look for mistakes first: check_readings(readings)",
    "Limit": 'give a limit: Limit("wobble_tir", "4 thou", "where it comes from")',
    "Limits": 'read the limits first: read_limits("limits.toml")',
    "NeutralLine": "find the line first: neutral_line(fit)",
    "PlateFit": "fit the plate first: fit_plate(rings)",
    "Readings": 'read the blade first: read_blade("readings.csv")',
    "Ring": 'read the rings first: read_rings("rings.csv")',
    "Rotation": "find the rotation first: best_rotation(plate, ...)",
    "SetUp": 'set up the saw first: set_up("saw.toml")',
    "Shelf": 'list the blades first: shelf("folder")',
    "Trend": "find the trend first: trend(visits)",
    "Visit": "sum up the measurement first: visit(fit)",
    "WobbleFit": "fit the readings first: fit_wobble(readings)",
}
"""What makes an object of each kind."""


class _Kind(NamedTuple):
    """One thing that an argument may be."""

    noun: str
    cure: str
    fits: Callable[[Any], bool]


def _is_number(given: Any) -> bool:
    try:
        float(given)
    except (TypeError, ValueError):
        return False
    return not isinstance(given, (str, bytes, bool, np.bool_))


def _are_numbers(given: Any) -> bool:
    try:
        np.asarray(given, dtype=np.float64)
    except (TypeError, ValueError):
        return False
    return given is not None and not isinstance(given, (str, bytes))


def _several(kind: _Kind) -> _Kind:
    def fits(given: Any) -> bool:
        if isinstance(given, (str, bytes)) or not isinstance(given, Iterable):
            return False
        # What can be gone through once only is left to be so.
        return not hasattr(given, "__len__") or all(map(kind.fits, given))

    return _Kind(f"several {kind.noun}", kind.cure, fits)


_PATH = _Kind(
    "path",
    'give the path of a file or folder: "readings.csv"',
    lambda one: isinstance(one, (str, os.PathLike)),
)
_PLAIN = {
    "None": _Kind("", "", lambda one: one is None),
    "Path": _PATH,
    "float": _Kind("number", "give a number", _is_number),
    "int": _Kind("whole number", "give a whole number", _is_number),
    "bool": _Kind("yes or no", "give True or False", lambda one: isinstance(one, (bool, np.bool_))),
    "ArrayLike": _Kind("numbers", "give numbers", _are_numbers),
    "Date": _Kind(
        "day",
        "give a day: datetime.date(2026, 11, 27)",
        lambda one: hasattr(one, "isoformat") and hasattr(one, "year"),
    ),
}


def _named(name: str) -> _Kind:
    """Return the kind of a name; known by it, so that nothing is loaded for it."""
    return _Kind(name, MADE_BY[name], lambda one: name in (of.__name__ for of in type(one).__mro__))


def _kinds(said: str) -> list[_Kind]:
    """Return what an annotation allows; empty where any of it is checked by the function itself."""
    options, depth = [""], 0
    for letter in said.replace("pd.", "").replace("str | os.PathLike[str]", "Path"):
        depth += {"[": 1, "]": -1}.get(letter, 0)
        if letter == "|" and not depth:
            options.append("")
        else:
            options[-1] += letter
    kinds: list[_Kind] = []
    for one in map(str.strip, options):
        of, _, held = one.partition("[")
        inner = held.removesuffix("]").removesuffix(", ...")
        if one in _PLAIN:
            kinds.append(_PLAIN[one])
        elif one in MADE_BY:
            kinds.append(_named(one))
        elif of == "Sequence" and inner == "float":
            kinds.append(_several(_Kind("numbers", "give numbers", lambda _: True)))
        elif of in ("Sequence", "Iterable", "tuple", "list") and (each := _kinds(inner)):
            any_of = _Kind(each[0].noun, each[0].cure, _any(each))
            kinds.append(_several(any_of))
        else:
            return []
    return kinds


def _any(kinds: list[_Kind]) -> Callable[[Any], bool]:
    return lambda one: any(kind.fits(one) for kind in kinds)


def checked(made: Made) -> Made:
    """Let a public function, or a data class, refuse what is of another kind than it takes."""
    if isinstance(made, type):
        made.__init__ = checked(made.__init__)  # type: ignore[misc]
        return made
    code, said = made.__code__, made.__annotations__
    names = code.co_varnames[: code.co_argcount + code.co_kwonlyargcount]
    wanted = {name: kinds for name in names if (kinds := _kinds(str(said.get(name, ""))))}
    places = [(at, name) for at, name in enumerate(names[: code.co_argcount]) if name in wanted]
    called_as = made.__qualname__.removesuffix(".__init__")

    @wraps(made)
    def called(*args: Any, **named: Any) -> Any:
        given = {name: args[at] for at, name in places if at < len(args)}
        for name, one in (given | named).items():
            kinds = wanted.get(name)
            if kinds and not any(kind.fits(one) for kind in kinds):
                nouns = list(dict.fromkeys(kind.noun for kind in kinds if kind.noun))
                problem = f"{called_as} takes {' or '.join(nouns)} as {name}"
                cure = next(kind.cure for kind in kinds if kind.cure)
                raise refuse(f"{problem}, not {type(one).__name__}", cure, column=name)
        return made(*args, **named)

    return called  # type: ignore[return-value]
