"""A day's totals: how many blades of each customer, and what is to be done with them."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from bladegeom.shop.batch import REFUSED
from bladegeom.shop.condition import ACTIONS

URGENCY = (REFUSED, *ACTIONS)
"""Every action in the order of the queue, refused first: of such a blade nothing is known."""

NOBODY = "no customer stated"
_WIDTH, _HELD = 100, "\u00a0"


@dataclass(frozen=True)
class Totals:
    """How many blades there are of each customer and action.

    Attributes
    ----------
    count : dict
        (Customer, action) -> number of blades; the customer is "" where none is stated.
    actions : tuple of str
        Those that occur, in the order of `URGENCY`.
    customers : tuple of str
        By name, "" last.
    """

    count: Mapping[tuple[str, str], int]
    actions: tuple[str, ...]
    customers: tuple[str, ...]

    def of(self, customer: str | None = None, action: str | None = None) -> int:
        """Return how many there are of a customer, an action, or both; of all where none is."""
        return sum(
            many
            for (whose, what), many in self.count.items()
            if customer in (None, whose) and action in (None, what)
        )

    @property
    def named(self) -> bool:
        """Whether any blade is known to be a customer's."""
        return any(self.customers)

    def text(self) -> str:
        """Return both totals for the end of a run: by action, and by customer if any is stated."""
        wide = len(str(self.of()))
        lines = [f"  {self.of(None, one):>{wide}}  {one}" for one in self.actions]
        for customer in self.customers if self.named else ():
            parts = [(self.of(customer, one), one) for one in self.actions]
            said = ", ".join(f"{many} {one}".replace(" ", _HELD) for many, one in parts if many)
            whose = f"  {self.of(customer):>{wide}}  {customer or NOBODY}: {said}"
            broken = textwrap.wrap(whose, _WIDTH, subsequent_indent=" " * (wide + 6))
            lines += [line.replace(_HELD, " ") for line in broken]
        return "\n".join(lines)


def totals(rows: Iterable[Mapping[str, Any]]) -> Totals:
    """Count the rows of a queue, which are of blades that were judged and of those refused.

    Parameters
    ----------
    rows : iterable of dict
        With the keys ``customer`` and ``action``.
    """
    count = Counter((row.get("customer") or "", row["action"]) for row in rows)
    actions = tuple(one for one in URGENCY if any(one == what for _, what in count))
    customers = sorted({whose for whose, _ in count}, key=lambda one: (not one, one.casefold()))
    return Totals(dict(count), actions, tuple(customers))
