"""One description of a result: as text, as an HTML table, as a frame, as plain values.

A field is declared once, with its meaning, its label and its text for people:

    @described
    class Gap(Result):
        span: float = quantity("length of the square's blade")
        error: Estimate = quantity("squareness error", label="squareness error", unit="deg")

        @derived("gap over the span")
        def gap(self) -> float: ...

Values, text, HTML, frame, docstring and glossary follow from that, in the order of the class.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, dataclass, field
from typing import TYPE_CHECKING, Any, ClassVar, NamedTuple, TypeVar, dataclass_transform

from bladegeom.faults import lines_shown, shown

if TYPE_CHECKING:
    import pandas as pd


class Row(NamedTuple):
    """One line of a result.

    Attributes
    ----------
    key : str
        Its name in `to_dict` and in frames; empty for what only people read.
    value : bool, int, float, str, list or None
        Its value in full precision; None where it is not established.
    label : str
        Its name for people; empty for what only machines read.
    text : str
        Its value for people, rounded, with its unit.
    """

    key: str
    value: Any
    label: str = ""
    text: str = ""


Text = Callable[[Any], "str | Sequence[str | tuple[str, str]]"]
T = TypeVar("T")

DOUBTED = ("", "_u", "_low", "_high")
"""Parts of an `Estimate`: its value, its standard uncertainty and its 95 % limits."""

Parts = tuple[str, ...] | Mapping[str, Callable[[Any], Any]]


class About(NamedTuple):
    """What is said of a quantity where it is declared; see `quantity`."""

    meaning: str
    key: str | None
    parts: Parts | None
    ending: str | None
    unit: str | None
    label: str | Callable[[Any], str]
    text: Text | None
    inline: bool
    kind: str = ""

    def of(self, kind: str) -> About:
        """Return it with the parts and the ending that go with its type, where none are stated."""
        doubted = kind.startswith(("Estimate", "Known"))
        ending = "_deg" if doubted and self.unit == "deg" else ""
        return self._replace(
            parts=self.parts or (DOUBTED if doubted else ("",)),
            ending=ending if self.ending is None else self.ending,
            kind=kind,
        )

    def keys(self, name: str) -> dict[str, str]:
        """Return its keys in `to_dict`, for its name in its class -> the part that each is."""
        stem = name if self.key is None else self.key
        shown = self.parts if stem and self.parts and not self.inline else ()
        return {f"{stem}{part}{self.ending}": part for part in shown}

    def part(self, value: Any, part: str) -> Any:
        """Return a part of its value; the value itself, or None, where that has no parts."""
        if value is None or self.parts == ("",):
            return value
        if isinstance(self.parts, Mapping):
            return self.parts[part](value)
        return getattr(value, part[1:] or "value", None)

    @property
    def stem(self) -> str:
        """What stands before the keys of a result that is shown in its place."""
        return f"{self.key}_" if self.key else ""

    def rows(self, result: Any, name: str, value: Any, *, told: bool = True) -> list[Row]:
        """Return its rows in a result, in which it has a name and a value; unless told, no text."""
        if self.inline:
            rows = value._rows(told=told) if isinstance(value, Result) else value or ()
            return [row._replace(key=self.stem + row.key) if row.key else row for row in rows]
        if not told:
            return [Row(key, self.part(value, part)) for key, part in self.keys(name).items()]
        label = self.label if isinstance(self.label, str) else self.label(result)
        said = self._said(result, value) if label else ()
        lines = [said] if isinstance(said, str) else said
        texts = [(label, line) if isinstance(line, str) else line for line in lines]
        keys = self.keys(name)
        rows = [Row(key, self.part(value, part)) for key, part in keys.items()]
        if not texts or not texts[0][1]:
            return rows
        if rows:
            label, text = texts.pop(0)
            rows[0] = rows[0]._replace(label=label, text=text)
        return rows + [Row("", None, label, text) for label, text in texts]

    def _said(self, result: Any, value: Any) -> str | Sequence[str | tuple[str, str]]:
        if self.text is not None:
            return self.text(result)
        if value is None:
            return ""
        if hasattr(value, "text"):
            return str(value.text(result.unit if self.unit is None else self.unit))
        if isinstance(value, bool):
            return "yes" if value else "no"
        return f"{value}"


def quantity(
    meaning: str,
    *,
    key: str | None = None,
    parts: Parts | None = None,
    ending: str | None = None,
    unit: str | None = None,
    label: str | Callable[[Any], str] = "",
    text: Text | None = None,
    inline: bool = False,
    default: Any = MISSING,
) -> Any:
    """Declare a field of a result.

    Parameters
    ----------
    meaning : str
        For docstring and glossary; a key that several results have means the same in all.
    key : str, optional
        In `to_dict` and in frames; the field's name if not given, ``""`` for people only.
    parts : tuple of str, or dict, optional
        Its keys are the key with each of them, and each stands for the attribute of that name, or
        for what its function makes of the value. If not given, those of `DOUBTED` where its type
        is `Estimate` or `Known` (or None).
    ending : str, optional
        Behind the keys; ``_deg`` if not given where those are in the unit deg.
    unit : str, optional
        Behind the text of an `Estimate`; the result's `unit` if not given.
    label : str or callable
        Its name for people, or a function of the result that gives it; without one, not shown.
    text : callable, optional
        Function of the result that gives its text, or several, each with a label of its own where
        it is a pair; if not given, that of the value. Where it is empty, nothing is shown.
    inline : bool
        The field is a result (or a list of rows), whose own quantities stand in this place, but
        for those that this one has itself; `key`, if given, stands before each of their keys.
    default : object, optional
        Where the field has one.
    """
    about = About(meaning, key, parts, ending, unit, label, text, inline)
    return field(default=default, metadata={"about": about})


class _Derived(property):
    about: About


def derived(
    meaning: str,
    *,
    key: str | None = None,
    parts: Parts | None = None,
    ending: str | None = None,
    unit: str | None = None,
    label: str | Callable[[Any], str] = "",
    text: Text | None = None,
    inline: bool = False,
) -> Callable[[Callable[[Any], T]], T]:
    """Declare a property of a result, as `quantity` does a field; its meaning is its docstring."""

    def made(get: Callable[[Any], T]) -> T:
        one = _Derived(get, doc=f"{meaning[0].upper()}{meaning[1:]}.")
        about = About(meaning, key, parts, ending, unit, label, text, inline)
        one.about = about.of(str(get.__annotations__.get("return", "")))
        return one  # type: ignore[return-value]

    return made


@dataclass_transform(
    eq_default=False, kw_only_default=True, frozen_default=True, field_specifiers=(quantity, field)
)
def described(cls: type[T]) -> type[T]:
    """Make a frozen data class of a result whose fields are declared by `quantity`."""
    return dataclass(frozen=True, eq=False, repr=False, kw_only=True)(cls)


class Result:
    """Shows itself: what a subclass declares is printed, tabulated and exported."""

    # Both are made anew for each subclass.
    _quantities: ClassVar[dict[str, About]] = {}
    _parts: ClassVar[dict[str, tuple[str, str]]] = {}

    def __init_subclass__(cls) -> None:
        super().__init_subclass__()
        own: dict[str, About] = {}
        for name, held in vars(cls).items():
            if isinstance(held, _Derived):
                own[name] = held.about
            elif hasattr(held, "metadata") and "about" in held.metadata:
                own[name] = held.metadata["about"].of(str(cls.__annotations__[name]))
        cls._quantities = {**cls._quantities, **own}
        cls._parts = {
            key: (name, part)
            for name, about in cls._quantities.items()
            for key, part in about.keys(name).items()
        }
        lines = [cls.__doc__ or "", "", "    Attributes", "    ----------"]
        for name, about in cls._quantities.items():
            if not name.startswith("_"):
                lines += [f"    {name} : {about.kind}", *_indented(about.meaning)]
        if own:
            cls.__doc__ = "\n".join([*lines, "    "])

    @classmethod
    def glossary(cls) -> dict[tuple[str, ...], str]:
        """Return what each key, or the keys of an estimate together, mean."""
        told: dict[tuple[str, ...], str] = {}
        for name, about in cls._quantities.items():
            if keys := about.keys(name):
                told[tuple(keys)] = about.meaning
        return told

    if not TYPE_CHECKING:

        def __getattr__(self, name: str) -> Any:
            """Return what has this key in `to_dict`; NaN, not None, where it is not known."""
            if name in self._parts:
                held, part = self._parts[name]
                return self._quantities[held].part(getattr(self, held), part)
            for held, about in () if name in self._quantities else self._quantities.items():
                for row in about.rows(self, held, getattr(self, held)) if about.inline else ():
                    if row.key == name:
                        return row.value
            raise AttributeError(f"{type(self).__name__} has no {name}", name=name, obj=self)

    def _title(self) -> str:
        raise NotImplementedError

    def _rows(self, *, told: bool = True) -> Sequence[Row]:
        """Return all rows; those that are not to be told have no text, which takes longest."""
        rows: list[Row] = []
        for name, about in self._quantities.items():
            own = about.rows(self, name, getattr(self, name), told=told)
            rows += [row for row in own if row.key not in self._parts] if about.inline else own
        return rows

    def _first(self) -> Sequence[str]:
        """Return what must be known before any of it is followed: told above all else."""
        return ()

    def _remarks(self) -> Sequence[str]:
        remarks: Sequence[str] = getattr(self, "remarks", ())
        return remarks

    def to_dict(self) -> dict[str, Any]:
        """Return every value under its key, in plain Python types; None for not established."""
        return {row.key: _plain(row.value) for row in self._rows(told=False) if row.key}

    def to_frame(self) -> pd.DataFrame:
        """Return a frame of one row; pairs become two columns, ``..._1`` and ``..._2``."""
        import pandas as pd

        columns: dict[str, Any] = {}
        for key, value in self.to_dict().items():
            columns |= in_columns(key, value)
        return pd.DataFrame({key: [value] for key, value in columns.items()})

    def shown_rows(self) -> list[tuple[str, str]]:
        """Return what is for people: label and text of each row."""
        return [(row.label, row.text) for row in self._rows() if row.label]

    def __str__(self) -> str:
        shown = self.shown_rows()
        width = max((len(label) for label, _ in shown), default=0)
        lines = [self._title(), *(f"  ! {one}" for one in self._first())]
        lines += [f"  {label:<{width}}  {text}" for label, text in shown]
        return lines_shown("\n".join([*lines, *(f"  ! {one}" for one in self._remarks())]))

    def __repr__(self) -> str:
        return str(self)

    def _table(self) -> tuple[Sequence[str], Sequence[Sequence[str]]]:
        """Return heads, if there are any, and rows of what a notebook shows."""
        return (), self.shown_rows()

    def _repr_html_(self) -> str:
        import html  # Its table of letters is long; only notebooks wait for it.

        def row(texts: Sequence[str], tags: Sequence[str]) -> str:
            style = "style='text-align:left'"
            cells = zip(texts, tags, strict=True)
            one = "".join(f"<{tag} {style}>{html.escape(text)}</{tag}>" for text, tag in cells)
            return f"<tr>{one}</tr>"

        heads, rows = self._table()
        body = row(heads, ["th"] * len(heads)) if heads else ""
        body += "".join(row(one, ["td"] * len(one) if heads else ["th", "td"]) for one in rows)
        remarks = "".join(f"<li>{html.escape(remark)}</li>" for remark in self._remarks())
        heading = html.escape("\n".join([self._title(), *self._first()])).replace("\n", "<br>")
        title = f"<caption style='text-align:left'>{heading}</caption>"
        return f"<table>{title}{body}</table>" + (f"<ul>{remarks}</ul>" if remarks else "")


def named(blade: str) -> str:
    """Return how a blade is called where a text of it begins, on one line."""
    return f"Blade {shown(blade)}" if blade else "Blade"


def _indented(meaning: str) -> list[str]:
    indent = " " * 8
    said = f"{meaning[0].upper()}{meaning[1:]}."
    return textwrap.wrap(said, 100, initial_indent=indent, subsequent_indent=indent)


_PAIRS = {
    "neutral_teeth": "neutral_tooth",
    "neutral_deg": "neutral_deg",
    "neutral_probability": "neutral_probability",
    "neutral_past_deg": "neutral_past_deg",
    "neutral_past_pitch": "neutral_past_pitch",
    "neutral_past_mm": "neutral_past_mm",
}
"""Keys that hold two values, one for each end of the neutral line -> their name in frames."""


def in_columns(key: str, value: Any) -> dict[str, Any]:
    """Return a value as columns of a frame: a pair as two, a list of texts as one text."""
    if key == "warnings":
        return {key: "; ".join(value)}
    if key in _PAIRS:
        first, second = value or (None, None)
        return {f"{_PAIRS[key]}_1": first, f"{_PAIRS[key]}_2": second}
    return {key: value}


def decimals_for(doubt: float | None, value: float = 0.0) -> int:
    """Return how many decimals to print: two digits of the doubt (GUM 7.2.6), else four in all."""
    size = doubt if doubt is not None and math.isfinite(doubt) and doubt > 0 else None
    if size is not None:
        return min(9, max(0, 1 - _exponent(size, 2)))
    if value == 0 or not math.isfinite(value):
        return 1
    return min(9, max(0, 3 - _exponent(value, 4)))


def _exponent(value: float, digits: int) -> int:
    """Return the power of ten of a number once it is rounded: 0.0996 to two digits is 0.10."""
    return int(f"{value:.{digits - 1}e}".partition("e")[2])


def number(value: float, doubt: float | None = None) -> str:
    """Return a value rounded to two digits of its doubt, never as minus zero."""
    text = f"{value:.{decimals_for(doubt, value)}f}"
    return text.lstrip("-") if float(text) == 0 else text


def grain(value: float) -> str:
    """Return a difference of readings without the dust of binary arithmetic."""
    return f"{round(value, 9):g}"


def between(low: float, high: float, doubt: float | None) -> str:
    """Return limits as text."""
    return f"{number(low, doubt)} to {number(high, doubt)}"


def percent(probability: float) -> str:
    """Return a probability for people; certainty is never claimed."""
    if probability > 0.99:
        return "over 99 %"
    if probability < 0.01:
        return "under 1 %"
    return f"{100 * probability:.0f} %"


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _plain(one) for key, one in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(one) for one in value]
    if hasattr(value, "to_dict"):
        return _plain(value.to_dict())
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value
