"""The command line: parses, calls, prints, nothing else."""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

import bladegeom as bg
from bladegeom.commands import years
from bladegeom.fitted.mistakes import check_counted
from bladegeom.measured.columns import OTHER_FACTS
from bladegeom.measured.counted import count_blades
from bladegeom.measured.facts import blade_of, stated_facts
from bladegeom.measured.lists import looks_like_table, parse_list
from bladegeom.measured.tables import parse_blades
from bladegeom.measured.text import read_bytes
from bladegeom.options import BLADE_LENGTHS, READING_LENGTHS, parser
from bladegeom.result import Result
from bladegeom.shown import printed

R = TypeVar("R", bound=Result)

EVERY, SOME, NONE = 0, 1, 2
"""Exit status: every blade answered, some of them, none."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status."""
    options = parser().parse_args(argv)
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter of a blade's name must not end the run.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    warnings.showwarning = _note
    try:
        status = _run(options)
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError as error:
        if not isinstance(error, BrokenPipeError):
            print(f"bladegeom: the answer cannot be written: {error.strerror}", file=sys.stderr)
        _forget_unwritten()
        return NONE
    except KeyboardInterrupt:
        return 130
    return status


def _run(options: argparse.Namespace) -> int:
    try:
        status = RUN[options.run](options)
    except bg.RefusedError as error:
        if getattr(options, "json", False):
            _print_json([], error.faults)
        _complain(error.faults)
        return NONE
    return status


def _forget_unwritten() -> None:
    """Keep Python from trying, and failing, to write the rest when it ends."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _fit(options: argparse.Namespace) -> int:
    def text(fit: bg.WobbleFit) -> str:
        return printed.answer_text(fit)

    return _answer(options, bg.blade_answer, text)


def _check(options: argparse.Namespace) -> int:
    if (options.repair is None) != (options.output is None):
        raise bg.RefusedError(
            bg.Fault("--repair and -o belong together", "give both, or neither of them")
        )
    counts, batch = count_blades(
        *_data(options),
        blade=options.blade,
        blades=options.blades,
        unit=options.unit,
        **_facts(options),
    )
    for note in batch.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    if not counts and not batch.refused:
        raise bg.RefusedError(bg.Fault(f"there is no blade {options.blade}", "check the name"))
    checked = [check_counted(count) for count in counts]
    if options.repair is not None:
        if len(checked) != 1:
            raise bg.RefusedError(
                batch.refused
                or [bg.Fault(f"{len(checked)} blades to repair", "choose one with --blade")]
            )
        from bladegeom.measured.save import save_readings

        save_readings(_repaired(checked[0], options.repair), options.output)
    if options.json:
        _print_json([findings.to_dict() for findings in checked], batch.refused)
    elif checked:
        print("\n\n".join(printed.findings_text(findings) for findings in checked))
        if options.repair is not None:
            print(f"\nwrote {options.output} with repair {options.repair}")
    _complain(batch.refused)
    return _status(len(checked), len(checked) + len({fault.blade for fault in batch.refused}))


def _repaired(findings: bg.Findings, number: int) -> bg.Readings:
    if not 1 <= number <= len(findings):
        raise bg.RefusedError(
            bg.Fault(
                f"there is no repair {number}",
                f"give one from 1 to {len(findings)}" if findings else "nothing was found",
                findings.blade or None,
                value=str(number),
            )
        )
    finding: bg.Finding = findings[number - 1]
    if finding.repaired is None:
        raise bg.RefusedError(
            bg.Fault(
                f"finding {number} ({finding.kind}) has no repair",
                "read the blade again",
                findings.blade or None,
                value=str(number),
            )
        )
    return finding.repaired


def _doubt(options: argparse.Namespace) -> int:
    def as_dict(fit: bg.WobbleFit) -> dict[str, Any]:
        return {
            "blade": fit.readings.blade.name,
            "unit": fit.unit,
            "budget": fit.budget.to_dict(),
            "shape": bg.residual_shape(fit).to_dict(),
        }

    return _answer(options, as_dict, printed.doubt_text)


def _squareness(options: argparse.Namespace) -> int:
    span = {} if options.span is None else {f"span_{options.span[1]}": options.span[0]}

    def result(fit: bg.WobbleFit) -> bg.Squareness:
        return bg.squareness(
            fit,
            away_deg=options.away,
            tooth=options.tooth,
            tolerance_deg=options.tolerance_deg,
            **span,
        )

    return _answer(options, lambda fit: result(fit).to_dict(), lambda fit: str(result(fit)))


def _marks(options: argparse.Namespace) -> int:
    blade = blade_of(stated_facts(_facts(options)), options.blade or "")
    marks = bg.neutral_line_by_eye(blade, options.near)
    if options.json:
        _print_json([{"blade": blade.name, "teeth": blade.teeth, **marks.to_dict()}], ())
    else:
        print(f"{printed.marks_text(marks)}\n\n{printed.cautions_text()}")
    return EVERY


def _chart(options: argparse.Namespace) -> int:
    from bladegeom.shown.page import check_target, save_charts

    check_target(options.output)
    fits, refused, wanted = _fits(options)
    if options.kind == "squareness":
        fits, refused = _kept(fits, refused, lambda fit: bg.squareness_error(fit, 0.0))
    if options.kind == "clearance":
        fits, refused = _kept(
            fits, refused, lambda fit: bg.rub_angle(fit.readings.blade, table_mm=0.0)
        )
    if not fits:
        raise bg.RefusedError(refused)
    kinds: dict[str, Callable[..., Any]] = {
        "polar": bg.polar_chart,
        "squareness": bg.squareness_chart,
        "strip": bg.strip_chart,
        "clearance": lambda fit, paper: bg.clearance_chart(fit.readings.blade, paper=paper),
    }
    draw = kinds[options.kind]
    more = {"tolerance_deg": options.tolerance_deg} if options.kind == "squareness" else {}
    save_charts((draw(fit, paper=options.paper, **more) for fit in fits), options.output, len(fits))
    print(f"wrote {options.output}")
    _complain(refused)
    return _status(len(fits), wanted)


def _kept(
    fits: list[bg.WobbleFit], refused: list[bg.Fault], ask: Callable[[bg.WobbleFit], Any]
) -> tuple[list[bg.WobbleFit], list[bg.Fault]]:
    """Leave out the blades of which nothing can be drawn, and say why."""
    kept = []
    for fit in fits:
        try:
            ask(fit)
        except bg.RefusedError as error:
            refused = [*refused, *error.faults]
        else:
            kept.append(fit)
    return kept, refused


def _next(options: argparse.Namespace) -> int:
    def result(fit: bg.WobbleFit) -> bg.NextReadings:
        return bg.next_readings(fit, options.n, probability=options.probability)

    return _answer(options, lambda fit: result(fit).to_dict(), lambda fit: str(result(fit)))


def _sheet(options: argparse.Namespace) -> int:
    from bladegeom.measured.blank import blank_table, check_new, write_new
    from bladegeom.shown.page import check_target

    target = check_new(check_target(options.output))
    facts = _facts(options)
    teeth, name = facts.pop("teeth"), options.name or ""
    table = text = None
    if options.csv is not None:
        table = check_new(options.csv or target.with_suffix(".csv"))
        text = blank_table(teeth, name or table.stem, options.unit, options.turns, facts)
    pages = bg.reading_sheet(
        teeth, name=name, turns=options.turns, unit=options.unit, paper=options.paper, **facts
    )
    bg.save_chart(pages, target)
    print(f"wrote {target}")
    if table is not None and text is not None:
        write_new(table, text)
        print(f"wrote {table}")
    return EVERY


def _setup(options: argparse.Namespace) -> int:
    def draw(setup: bg.SetUp) -> Sequence[Any]:
        return bg.setup_card(setup, paper=options.paper)

    _told(options, lambda: bg.set_up(options.file), draw, printed.setup_text)
    return EVERY


def _shelf(options: argparse.Namespace) -> int:
    def draw(shelf: bg.Shelf) -> Sequence[Any]:
        return bg.shelf_page(shelf, paper=options.paper)

    shelf = _told(options, lambda: bg.shelf(options.folder), draw, str)
    _complain(shelf.refused)
    return SOME if shelf.refused else EVERY


def _batch(options: argparse.Namespace) -> int:
    from bladegeom.shown.batch import run_batch

    limits = bg.read_limits(options.limits)
    done = run_batch(
        options.inputs,
        limits,
        options.out,
        blades=options.blades,
        unit=options.unit,
        rule="simple" if options.simple else "zones",
        shop=options.shop,
        arbor=options.arbor,
        paper=options.paper,
        date=options.date,
        progress=_progress if sys.stderr is not None and sys.stderr.isatty() else None,
    )
    for note in done.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    print(printed.batch_text(done))
    _complain(done.refused)
    return SOME if done.refused else EVERY


def _progress(done: int, count: int) -> None:
    bar = "#" * round(30 * done / count)
    end = "\n" if done == count else ""
    print(f"\r[{bar:<30}] {done} of {count} blades", end=end, file=sys.stderr, flush=True)


def _told(
    options: argparse.Namespace,
    make: Callable[[], R],
    draw: Callable[[R], Sequence[Any]],
    text: Callable[[R], str],
) -> R:
    """Make a result, save its pages where they are wanted, and print it."""
    wanted = options.output is not None
    if wanted:
        from bladegeom.shown.page import check_target

        check_target(options.output)
    result = make()
    if wanted:
        bg.save_chart(draw(result), options.output)
    if options.json:
        _print_object(result.to_dict())
    else:
        end = f"\n\nwrote {options.output}" if wanted else ""
        print(f"{text(result)}\n\n{printed.cautions_text()}{end}")
    return result


def _answer(
    options: argparse.Namespace,
    as_dict: Callable[[bg.WobbleFit], dict[str, Any]],
    as_text: Callable[[bg.WobbleFit], str],
) -> int:
    """Print one answer a blade; a blade that cannot be answered stops no other."""
    fits, refused, wanted = _fits(options)
    answers: list[Any] = []
    for fit in fits:
        try:
            answers.append(as_dict(fit) if options.json else as_text(fit))
        except bg.RefusedError as error:
            refused += error.faults
    if options.json:
        _print_json(answers, refused)
    elif answers:
        print("\n\n".join([*answers, printed.cautions_text()]))
    _complain(refused)
    return _status(len(answers), wanted)


def _fits(options: argparse.Namespace) -> tuple[list[bg.WobbleFit], list[bg.Fault], int]:
    """Read and fit; return the fits, what was refused, and how many blades there were."""
    batch = _read(options)
    for note in batch.notes:
        print(f"bladegeom: note: {note}", file=sys.stderr)
    refused = list(batch.refused)
    fits = []
    for readings in batch.readings:
        try:
            fits.append(
                bg.fit_wobble(
                    readings,
                    harmonics=options.harmonics,
                    drift=options.drift,
                    robust=options.robust,
                )
            )
        except bg.RefusedError as error:
            refused += error.faults
    names = {readings.blade.name for readings in batch.readings}
    return fits, refused, len(names | {fault.blade or "" for fault in refused})


def _read(options: argparse.Namespace) -> bg.Batch:
    facts = _facts(options)
    if options.file != "-":
        batch = bg.read_blades(options.file, blades=options.blades, unit=options.unit, **facts)
    else:
        data = _typed_in()
        if not looks_like_table(data):
            readings = parse_list(
                data, blade=options.blade, blades=options.blades, unit=options.unit, **facts
            )
            return bg.Batch([readings], [], [])
        batch = parse_blades(data, "piped", blades=options.blades, unit=options.unit, **facts)
    if options.blade is None:
        return batch
    return bg.Batch(
        [one for one in batch.readings if one.blade.name == options.blade]
        or _no_such_blade(batch, options.blade),
        [fault for fault in batch.refused if fault.blade == options.blade],
        batch.notes,
    )


def _data(options: argparse.Namespace) -> tuple[bytes, str]:
    """Return what the file, or standard input, holds, and its name."""
    if options.file == "-":
        return _typed_in(), "piped"
    return read_bytes(options.file), options.file


def _typed_in() -> bytes:
    if sys.stdin is None:
        raise bg.RefusedError(bg.Fault("nothing is typed or piped in", "name a file instead"))
    if sys.stdin.isatty():
        print(
            "Type the readings in tooth order, ? for not read; end with Ctrl-D (Ctrl-Z on "
            "Windows).",
            file=sys.stderr,
        )
    return sys.stdin.buffer.read()


def _no_such_blade(batch: bg.Batch, name: str) -> list[bg.Readings]:
    if any(fault.blade == name for fault in batch.refused):
        return []
    held = dict.fromkeys(
        [readings.blade.name for readings in batch.readings]
        + [fault.blade for fault in batch.refused if fault.blade]
    )
    some = ", ".join([*held][:8]) + (f" and {len(held) - 8} more" if len(held) > 8 else "")
    raise bg.RefusedError(
        bg.Fault(
            f"there is no blade {name}",
            f"the table holds {some or 'no blade with a name'}",
            blade=name or None,
            value=name,
        )
    )


def _facts(options: argparse.Namespace) -> dict[str, Any]:
    facts: dict[str, Any] = {}
    for option in (*BLADE_LENGTHS, *READING_LENGTHS):
        name = option.replace("-", "_")
        if length := getattr(options, name, None):
            facts[f"{name}_{length[1]}"] = length[0]
    for name in OTHER_FACTS:
        if (value := getattr(options, name, None)) is not None:
            facts[name] = value
    return facts


def _status(answered: int, wanted: int) -> int:
    if answered == 0:
        return NONE
    return EVERY if answered == wanted else SOME


def _print_json(blades: list[Any], refused: Iterable[bg.Fault]) -> None:
    _print_object({"blades": blades, "refused": [fault.to_dict() for fault in refused]})


def _print_object(held: dict[str, Any]) -> None:
    import json

    print(json.dumps(held, allow_nan=False))


def _complain(faults: Iterable[bg.Fault]) -> None:
    for fault in faults:
        print(f"bladegeom: {fault}", file=sys.stderr)


def _note(message: Warning | str, *_: Any, **__: Any) -> None:
    print(f"bladegeom: note: {message}", file=sys.stderr)


RUN: dict[str, Callable[[argparse.Namespace], int]] = {
    "fit": _fit,
    "check": _check,
    "doubt": _doubt,
    "marks": _marks,
    "chart": _chart,
    "next": _next,
    "sheet": _sheet,
    "squareness": _squareness,
    "batch": _batch,
    "setup": _setup,
    "shelf": _shelf,
    "change": years.run_change,
    "record": years.run_record,
    "trend": years.run_trend,
}
"""Name of the command -> what it does."""


if __name__ == "__main__":
    sys.exit(main())
