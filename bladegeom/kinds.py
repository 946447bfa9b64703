"""Objects of the wrong kind get a sentence."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from bladegeom.faults import refuse

P = ParamSpec("P")
T = TypeVar("T")

MADE_BY = {
    "ArborFit": "separate the arbor first: separate_arbor(fits, clock_deg)",
    "Blade": "give a blade: Blade(40)",
    "ClockAdvice": "ask for the advice first: clock_advice(arbor)",
    "Condition": "judge the blade first: assess(fit, limits)",
    "CutWall": "make the wall first: cut_wall(fit, ...)",
    "DataFrame": 'read the table first: read_table("readings.csv")',
    "Limits": 'read the limits first: read_limits("limits.toml")',
    "NeutralLine": "find the line first: neutral_line(fit)",
    "PlateFit": "fit the plate first: fit_plate(rings)",
    "Readings": 'read the blade first: read_blade("readings.csv")',
    "Rotation": "find the rotation first: best_rotation(plate, ...)",
    "SetUp": 'set up the saw first: set_up("saw.toml")',
    "Shelf": 'list the blades first: shelf("folder")',
    "Trend": "find the trend first: trend(visits)",
    "Visit": "sum up the measurement first: visit(fit)",
    "WobbleFit": "fit the readings first: fit_wobble(readings)",
}
"""What makes an object of each kind."""


def checked(function: Callable[P, T]) -> Callable[P, T]:
    """Let a public function refuse what is of another kind than it takes.

    Kinds are known by their names, so that nothing is loaded for it; only those of `MADE_BY` are
    looked at.
    """
    said = function.__annotations__
    names = function.__code__.co_varnames[: function.__code__.co_argcount]
    kinds = {
        name: one
        for name in names
        if MADE_BY.keys() & (one := {*said.get(name, "").replace("pd.", "").split(" | ")})
    }
    wanted = [(at, name, kinds[name]) for at, name in enumerate(names) if name in kinds]

    @wraps(function)
    def called(*args: P.args, **named: P.kwargs) -> T:
        for at, name, kind in wanted:
            if at < len(args) or name in named:
                given = args[at] if at < len(args) else named[name]
                if not (given is None and "None" in kind) and kind.isdisjoint(
                    one.__name__ for one in type(given).__mro__
                ):
                    known = sorted(kind & MADE_BY.keys(), reverse=True)
                    takes = f"{function.__name__} takes {' or '.join(known)} as {name}"
                    raise refuse(f"{takes}, not {type(given).__name__}", MADE_BY[known[0]])
        return function(*args, **named)

    return called
