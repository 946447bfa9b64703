"""The command: a row for each of its words, with what it understands, makes and draws."""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from argparse import Namespace
from collections.abc import Callable, Iterable, Sequence
from functools import cache, partial
from operator import methodcaller
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, NamedTuple, NoReturn

import bladegeom as bg
from bladegeom._version import __version__
from bladegeom.draw import printed
from bladegeom.draw.progress import progress
from bladegeom.face import check_blade, check_surface, is_face
from bladegeom.faults import Who, as_letters, lines_shown, refuse, shown
from bladegeom.fit.answer import Answer, answer_of
from bladegeom.fit.face import FlangeFace, flange_face
from bladegeom.fit.marks import NO_MATTER_DEG
from bladegeom.mistakes.check import Finding, check_counted
from bladegeom.options import FACTS, FITTED, Told, facts_of, fill
from bladegeom.tables.counted import counted_as_written
from bladegeom.tables.lists import read_any
from bladegeom.tables.out import check_apart
from bladegeom.tables.table import Written
from bladegeom.tables.text import read_bytes, read_stream

if TYPE_CHECKING:
    from bladegeom.shop.remount import Remounted

EVERY, SOME, NONE = 0, 1, 2
"""Exit status: every blade answered, some of them, none."""

_READ = ("file", "inputs", "blades", "before", "after", "was", "flange", "limits", "list")
"""Options that name what is read: a file, or several."""

Run = Callable[[Namespace], int]


class Command(NamedTuple):
    """A word of the command: its help, what it does, and its options; see `fill`."""

    name: str
    help: str
    run: Run
    options: str
    more: str = ""
    told: Told = MappingProxyType({})
    epilog: str | None = None


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command and return its exit status."""
    words = sys.argv[1:] if argv is None else [*argv]
    if sys.stderr is None:  # Closed: what is printed to no file goes to the answer.
        sys.stderr = open(os.devnull, "w")  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        # A terminal that cannot show a letter of a blade's name must not end the run.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    once = cache(_note)  # However many pages it is true of.
    warnings.showwarning = lambda message, *_, **__: once(str(message))
    try:
        status = _run(words)
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


def _run(words: Sequence[str]) -> int:
    options = Namespace(json="--json" in words)
    try:
        options = parser(words[0] if words else "").parse_args(words)
        _check_outputs(options)
        run: Run = options.run
        return run(options)
    except bg.RefusedError as error:
        if getattr(options, "json", False):
            _print_json({"blades": [], "refused": [fault.to_dict() for fault in error.faults]})
        _note(*getattr(error, "__notes__", ()))
        _complain(error.faults)
        return NONE


def _forget_unwritten() -> None:
    """Keep Python from trying, and failing, to write the rest when it ends."""
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _check_outputs(options: Namespace) -> None:
    """Refuse, before anything is done, outputs over an input, and pages that cannot be written."""
    given = vars(options)
    read: list[str | Path] = []
    for name in _READ:
        one = given.get(name)
        read += [one] if isinstance(one, str) else one or []
    written: list[str | Path] = [one for one in (given.get("output"), given.get("csv")) if one]
    if given.get("csv") == "":
        written.append(Path(given["output"]).with_suffix(".csv"))
    if (folder := given.get("folder")) is not None:
        read += Path(folder).glob("*")
    if (history := given.get("history")) is not None:
        # What takes readings adds to the history; a trend is drawn from it.
        added_to = "file" in given or "inputs" in given
        (written if added_to else read).extend(Path(history).glob("*.csv"))
    check_apart(written, read)
    if given.get("output") is not None and "paper" in given and not given.get("xlsx"):
        from bladegeom.draw.page import check_target

        check_target(given["output"])


# What is said, and where


def _note(*notes: Warning | str) -> None:
    for note in notes:
        print(f"bladegeom: note: {shown(str(note))}", file=sys.stderr)


def _complain(faults: Iterable[bg.Fault]) -> None:
    """Say what is wrong, a line a fault."""
    for fault in faults:
        print(f"bladegeom: {fault}", file=sys.stderr)


def _print_json(held: dict[str, Any]) -> None:
    import json

    print(json.dumps(held, allow_nan=False))


def _wrote(path: str | Path) -> str:
    return f"wrote {shown(as_letters(path))}"


def _done(words: str, refused: Sequence[bg.Fault], notes: Iterable[str] = ()) -> int:
    """Say what was done, and return the status."""
    _note(*notes)
    print(lines_shown(words))
    _complain(refused)
    return SOME if refused else EVERY


def _status(answered: int, wanted: int) -> int:
    """Return the exit status for so many blades answered of so many wanted."""
    if answered == 0:
        return NONE
    return EVERY if answered == wanted else SOME


def _tell(
    options: Namespace,
    results: Sequence[Any],
    refused: Sequence[bg.Fault] = (),
    wanted: int | None = None,
    *,
    text: Callable[[Any], str] = str,
    as_dict: Callable[[Any], dict[str, Any]] = methodcaller("to_dict"),
    draw: str = "",
    alone: bool = False,
    end: Sequence[str] | None = None,
) -> int:
    """Draw results where that is wanted, print them as text or JSON, and return the status.

    `draw` is the name of a chart function, which is loaded only when it is called; `alone` is the
    one result of a command that is not about blades each by itself; `end` stands below the text,
    the cautions if it is not given. So many were `wanted`: those answered and those refused, if it
    is not given.
    """
    said: list[Any] = []
    refused = [*refused]
    end = [printed.cautions_text()] if end is None else end
    page = getattr(options, "output", None) if draw else None
    if page is not None and results:
        _save(page, results, draw, paper=options.paper)
        end = [*end, _wrote(page)]
    for one in results:
        try:
            said.append(as_dict(one) if options.json else text(one))
        except bg.RefusedError as error:
            refused += error.faults
    if options.json and alone:
        _print_json(said[0])
    elif options.json:
        _print_json({"blades": said, "refused": [fault.to_dict() for fault in refused]})
    elif said:
        print(lines_shown("\n\n".join([*said, *end])))
    _complain(refused)
    return _status(len(said), len(said) + bool(refused) if wanted is None else wanted)


def _save(path: str, results: Sequence[Any], draw: str, **how: Any) -> None:
    """Draw results into one file, page after page; that of one may have several."""
    from bladegeom.draw.page import save_charts

    chart = getattr(bg, draw)
    if len(results) == 1:
        bg.save_chart(chart(results[0], **how), path)
    else:
        save_charts((chart(one, **how) for one in results), path, len(results))


# What is read


def _given(options: Namespace, names: str) -> dict[str, Any]:
    """Return the values of some options."""
    return {name: getattr(options, name) for name in names.split()}


def _data(options: Namespace) -> tuple[bytes, str]:
    """Return what the file holds, or what is typed or piped in, and its name."""
    if options.file != "-":
        return read_bytes(options.file), options.file
    if sys.stdin is None:
        raise refuse("nothing is typed or piped in", "name a file instead")
    if sys.stdin.isatty():
        print(
            "Type the readings in tooth order, ? for not read; end with Ctrl-D (Ctrl-Z on "
            "Windows).",
            file=sys.stderr,
        )
    return read_stream(sys.stdin.buffer, "piped"), "piped"


def _fits(options: Namespace) -> tuple[list[bg.WobbleFit], list[bg.Fault], int]:
    """Read and fit; return the fits, what was refused, and how many blades there were."""
    facts = facts_of(options) | _given(options, "blade blades unit sheet")
    listed = options.file == "-"
    read, left, notes = read_any(*_data(options), Written.readings, listed=listed, **facts)
    _note(*notes)
    how = _given(options, "harmonics drift robust")
    fits, refused = _kept(read, lambda readings: bg.fit_wobble(readings, **how))
    refused = [*left, *refused]
    blades = {readings.blade.who for readings in read}
    return fits, refused, len(blades | {fault.who for fault in refused})


def _kept(given: Iterable[Any], make: Callable[[Any], Any]) -> tuple[list[Any], list[bg.Fault]]:
    """Make a result of each that is given; one that cannot be answered stops no other."""
    made: list[Any] = []
    refused: list[bg.Fault] = []
    for one in given:
        try:
            made.append(make(one))
        except bg.RefusedError as error:
            readings = getattr(one, "readings", one)
            whose = readings.blade.who if isinstance(readings, bg.Readings) else Who("")
            refused += [fault.of(whose) for fault in error.faults]
    return made, refused


# What answers every blade by itself


def _told(find: Callable[[Namespace], Sequence[Any]], **told: Any) -> Run:
    """Return what finds results, what was refused, and how many were wanted, and tells them."""
    return lambda options: _tell(options, *find(options), **told)


def _each(make: Callable[[bg.WobbleFit, Namespace], Any], **told: Any) -> Run:
    """Return what makes a result of every blade's fit and tells it; see `_tell`."""

    def find(options: Namespace) -> tuple[list[Any], list[bg.Fault], int]:
        fits, refused, wanted = _fits(options)
        made, others = _kept(fits, lambda fit: make(fit, options))
        return made, [*refused, *others], wanted

    return _told(find, **told)


def _one(make: Callable[[Namespace], Any], **told: Any) -> Run:
    """Return what makes one result and tells it; see `_tell`."""

    def find(options: Namespace) -> tuple[list[Any], Sequence[bg.Fault]]:
        result = make(options)
        return [result], getattr(result, "refused", ())

    return _told(find, alone=True, **told)


def _answers(options: Namespace) -> tuple[list[Any], list[bg.Fault], int]:
    """Answer every blade; beside its old marks, where old readings are given."""
    most = NO_MATTER_DEG if options.tolerance_deg is None else options.tolerance_deg
    fits, refused, wanted = _fits(options)
    if options.was is None:
        made, others = _kept(fits, lambda fit: _known(fit, most))
        return made, [*refused, *others], wanted
    from bladegeom.shop.remount import remounted_of

    was, left, _ = _fits(Namespace(**vars(options) | {"file": options.was}))
    old = {fit.readings.blade.who: fit for fit in was}
    made, others = _kept(fits, lambda fit: remounted_of(fit, old, most))
    left = [fault.within(options.was) for fault in left]
    return made, [*refused, *left, *others], wanted


def _known(fit: bg.WobbleFit, tolerance_deg: float) -> Answer | FlangeFace:
    """Return all that is known of a blade, or of the face of a flange."""
    if is_face(fit.readings):
        return flange_face(fit)
    return answer_of(fit, bg.neutral_line(fit, tolerance_deg=tolerance_deg))


def _answer_text(one: Answer | FlangeFace | Remounted) -> str:
    if isinstance(one, FlangeFace):
        return printed.face_text(one)
    return printed.answer_text(one) if isinstance(one, Answer) else printed.remounted_text(one)


def _answer_dict(one: Answer | FlangeFace | Remounted) -> dict[str, Any]:
    if isinstance(one, (Answer, FlangeFace)):
        return one.to_dict()
    return one.now.to_dict() | {"remounted": one.to_dict()}


def run_fit(options: Namespace) -> int:
    """Answer every blade, and every face of a flange."""
    found, refused, wanted = _answers(options)
    faces = found and all(isinstance(one, FlangeFace) for one in found)
    end = [printed.cautions_text(printed.FACE_CAUTIONS)] if faces else None
    return _tell(options, found, refused, wanted, text=_answer_text, as_dict=_answer_dict, end=end)


def _doubt(fit: bg.WobbleFit) -> dict[str, Any]:
    return {
        "blade": fit.readings.blade.name,
        "customer": fit.readings.blade.customer,
        "unit": fit.unit,
        "budget": fit.budget.to_dict(),
        "shape": bg.residual_shape(fit).to_dict(),
        "warnings": list(fit.said),
    }


def _square(fit: bg.WobbleFit, options: Namespace) -> bg.Squareness:
    how = _given(options, "tooth span tolerance_deg")
    return bg.squareness(fit, away_deg=options.away, **how)


def _wall(fit: bg.WobbleFit, options: Namespace) -> bg.CutWall:
    how = _given(options, "height corner")
    where = {"side_angle_deg": options.side_angle, "feed_per_turn": options.feed}
    return bg.cut_wall(fit, side=options.wall, **where, **how)


CHARTS: dict[str, tuple[str, Callable[[bg.WobbleFit], Any]]] = {
    "polar": ("polar_chart", lambda fit: fit),
    "squareness": ("squareness_chart", lambda fit: bg.squareness_error(fit, 0.0)),
    "strip": ("strip_chart", lambda fit: fit),
    "clearance": (
        "clearance_chart",
        lambda fit: bg.rub_angle(fit.readings.blade, table="0 mm"),
    ),
}
"""Kind of chart -> the function that draws it, and what must be known of a blade for it."""


def run_chart(options: Namespace) -> int:
    """Draw a chart of every blade."""
    fits, refused, wanted = _fits(options)
    draw, needs = CHARTS[options.kind]

    def ready(fit: bg.WobbleFit) -> bg.WobbleFit:
        check_blade(fit.readings, "there is no blade to draw")
        needs(fit)
        return fit

    drawn, others = _kept(fits, ready)
    refused += others
    if not drawn:
        raise bg.RefusedError(refused)
    how = {"tolerance_deg": options.tolerance_deg} if options.kind == "squareness" else {}
    of_blades = options.kind == "clearance"  # It rests on no reading, and no slip touches it.
    of = [fit.readings.blade if of_blades else fit for fit in drawn]
    _save(options.output, of, draw, paper=options.paper, **how)
    of_fits = [] if of_blades else drawn
    return _drew(options, of_fits, refused, _status(len(drawn), wanted))


def _drew(
    options: Namespace, fits: Sequence[bg.WobbleFit], refused: Sequence[bg.Fault], status: int
) -> int:
    """Say what was drawn, of which blades not to be followed and why, and what was refused."""
    print(_wrote(options.output))
    for fit in fits:
        name = f"blade {shown(str(fit.readings.blade.who))}: " * bool(fit.readings.blade.name)
        for doubted in fit.doubted:
            print(f"bladegeom: {name}not for the wall: {doubted}", file=sys.stderr)
    _complain(refused)
    return status


def run_disc(options: Namespace) -> int:
    """Draw a disc to mark by of every blade."""
    from bladegeom.draw.disc import blade_disc

    fits, refused, wanted = _fits(options)
    how = _given(options, "bore face paper")
    drawn, others = _kept(fits, lambda fit: (blade_disc(fit, **how), fit))
    refused += others
    if not drawn:
        raise bg.RefusedError(refused)
    bg.save_chart([page for pages, _ in drawn for page in pages], options.output)
    return _drew(options, [fit for _, fit in drawn], refused, _status(len(drawn), wanted))


def run_check(options: Namespace) -> int:
    """Look for mistakes in the readings; write them repaired where that is asked for."""
    if (options.repair is None) != (options.output is None):
        raise refuse("--repair and -o belong together", "give both, or neither of them")
    facts = facts_of(options) | _given(options, "blade blades unit sheet")
    counts, refused, notes = read_any(*_data(options), counted_as_written, **facts)
    _note(*notes)
    checked = [check_counted(count) for count in counts]
    end = []
    if options.repair is not None:
        from bladegeom.tables.out import save_readings

        if len(checked) != 1:
            many = bg.Fault(f"{len(checked)} blades to repair", "choose one with --blade")
            raise bg.RefusedError(refused or [many])
        save_readings(_repaired(checked[0], options.repair), options.output)
        end = [f"{_wrote(options.output)} with repair {options.repair}"]
    wanted = len(checked) + len({fault.who for fault in refused})
    return _tell(options, checked, refused, wanted, text=printed.result_text, end=end)


def _repaired(findings: bg.Findings, place: int) -> bg.Readings:
    cure = "read the blade again"
    if not 1 <= place <= len(findings):
        problem = f"there is no repair {place}"
        cure = f"give one from 1 to {len(findings)}" if findings else "nothing was found"
    else:
        finding: Finding = findings[place - 1]
        if finding.repaired is not None:
            return finding.repaired
        problem = f"finding {place} ({finding.kind}) has no repair"
    raise refuse(problem, cure, blade=findings.blade, value=place)


def _marks(options: Namespace) -> tuple[list[bg.NeutralLine]]:
    from bladegeom.tables.facts import blade_of, stated_facts

    facts = facts_of(options)
    check_surface(facts.get("surface"), "there are no teeth to name", options.blade or "")
    blade = blade_of(stated_facts(facts), options.blade or "")
    return ([bg.neutral_line_by_eye(blade, options.near)],)


def _of_marks(marks: bg.NeutralLine) -> dict[str, Any]:
    return {"blade": marks.blade.name, "teeth": marks.blade.teeth, **marks.to_dict()}


def run_read(options: Namespace) -> int:
    """Ask for a blade's readings at the saw, and answer them."""
    from bladegeom.live.terminal import read_at_saw

    if options.enough is not None and not options.enough > 0:
        raise refuse(f"--enough {options.enough:g}", "give degrees above 0", value=options.enough)
    whole = read_at_saw(
        options.file,
        facts_of(options) | _given(options, "unit name"),
        spread=options.order == "spread",
        wanted_deg=options.enough,
        device=options.device,
        caution=printed.CAUTIONS[0],
    )
    if not whole:
        return SOME
    answer = answer_of(bg.fit_wobble(bg.read_blade(options.file)))
    return _done(f"\n{printed.answer_text(answer)}\n\n{printed.cautions_text()}", [])


def run_sheet(options: Namespace) -> int:
    """Draw a blank form, and write the table that goes with it."""
    from bladegeom.tables.out import blank_table, check_new, write_new

    facts = facts_of(options)
    if options.list is not None:
        from bladegeom.draw.blank import write_blanks

        if options.csv is not None or options.name is not None:
            raise refuse("--name and --csv are of one blade", "give --teeth instead of --list")
        how = _given(options, "turns unit paper")
        write_blanks(options.list, options.output, workbook=options.xlsx, **how, **facts)
        print(_wrote(options.output))
        return EVERY
    if options.xlsx:
        raise refuse("--xlsx goes with a list of blades", "give --list BLADES.csv")
    target = check_new(Path(options.output))
    teeth, name = facts.pop("teeth"), options.name or ""
    table = text = None
    if options.csv is not None:
        table = check_new(options.csv or target.with_suffix(".csv"))
        called = name or as_letters(table.stem)
        text = blank_table(teeth, called, options.unit, options.turns, facts)
    how = _given(options, "turns unit paper")
    bg.save_chart(bg.reading_sheet(teeth, name=name, **how, **facts), target)
    if table is not None and text is not None:
        try:
            write_new(table, text)
        except bg.RefusedError:
            target.unlink()  # The form goes with its table.
            raise
    for one in filter(None, (target, table)):
        print(_wrote(one))
    return EVERY


# What answers a saw, a shop, or several readings of one blade


def run_setup(options: Namespace) -> int:
    """Set a saw up: all of it, or the one thing to do now; record what was read before that."""
    file = as_letters(options.file)
    if options.record:
        from bladegeom.saw.record import record

        done = record(options.file, options.record)
        setup, said = done.setup, printed.recorded_text(done, file)
    else:
        setup = bg.set_up(options.file)
        said = printed.next_text(setup, file) if options.next else printed.setup_text(setup)
    alone = options.next or options.record
    return _tell(
        options,
        [setup],
        text=lambda _: said,
        as_dict=lambda one: (one.next if alone else one).to_dict(),
        draw="setup_card",
        alone=True,
    )


def _trend(options: Namespace) -> tuple[list[bg.Trend], list[bg.Fault]]:
    history = bg.read_history(options.history)
    visits = history.of(options.blade, options.customer)
    trend = bg.trend(visits, options.of)
    _note(*history.notes)
    unsaid = [one for one in history.visits if one.who == (shown(options.blade), "")]
    if left := len([one for one in unsaid if one not in visits]):
        _note(f"{left} measurements of a blade {options.blade} say no customer: left out")
    return [trend], history.refused


def _shape(options: Namespace) -> bg.PlateFit | bg.Rotation:
    """Return the plate's shape from its rings; with a table's height, the best rotation."""
    given = _given(options, "table_height reach away_from_centre")
    needs = any(one is not None for one in (*given.values(), options.output, options.tolerance_deg))
    if needs and options.table_height is None:
        raise refuse(
            "the best rotation needs the table's height above the arbor's axis",
            "give --table-height, such as --table-height 25mm",
        )
    facts = facts_of(options) | _given(options, "blade unit sheet")
    plate = bg.fit_plate(bg.read_rings(options.file, **facts), harmonics=options.harmonics)
    if not needs:
        return plate
    return bg.best_rotation(plate, line=options.line, tolerance_deg=options.tolerance_deg, **given)


def _shape_text(shape: bg.PlateFit | bg.Rotation) -> str:
    return f"{shape.plate}\n\n{shape}" if isinstance(shape, bg.Rotation) else str(shape)


def run_change(options: Namespace) -> int:
    """Compare two measurements of one blade."""
    facts = _given(options, "blade customer blades unit sheet")
    before, after = (
        bg.fit_wobble(bg.read_blade(one, **facts)) for one in (options.before, options.after)
    )
    change = bg.change(before, after, **_given(options, "tooth_1_marked seating"))
    return _tell(options, [change], text=printed.result_text, alone=True)


def run_record(options: Namespace) -> int:
    """Append the measurements of a table to a history."""
    from bladegeom.shop.history import record_and_ask

    batch = bg.read_blades(options.file, **_given(options, "blades unit sheet"))
    about = _given(options, "date arbor tooth_1_marked note")
    about["service"] = options.service or ""

    def visited(readings: bg.Readings) -> bg.Visit:
        fit = bg.fit_wobble(readings)
        if fit.mistake is not None:
            said = fit.findings[0].words.rstrip(".")
            raise refuse(
                f"not recorded, a mistake may be in the readings: {said}",
                f"see bladegeom check {options.file}; repair the readings, or read the blade again",
                blade=fit.readings.blade.name,
            )
        return bg.visit(fit, **about)

    visits, refused = _kept(batch.readings, visited)
    refused = [*batch.refused, *refused]
    if not visits:
        raise bg.RefusedError(refused)
    added, asked = record_and_ask(visits, options.history)
    there = len(visits) - len(added)
    already = f", {there} there already" if there else ""
    said = f"recorded {len(added)} in {as_letters(options.history)}{already}"
    return _done(said, refused, [*batch.notes, *asked])


def _clocks(options: Namespace) -> tuple[list[bg.ClockAdvice], list[bg.Fault]]:
    """Advise on the clock position of every blade of a table of mountings."""
    from bladegeom.arbor.clock import advise

    mounts = bg.read_mounts(options.file, **_given(options, "unit sheet"), **facts_of(options))
    _note(*mounts.notes)
    flange = None
    if options.flange is not None:
        flange = bg.fit_wobble(bg.read_blade(options.flange, unit=options.unit))
    return advise(mounts, flange=flange, **_given(options, "harmonics drift robust"))


def run_batch(options: Namespace) -> int:
    """Judge a day's blades."""
    from bladegeom.draw.batch import run_batch as judge
    from bladegeom.draw.made import files_of

    check_apart(files_of(options.out), [options.limits])
    limits = bg.read_limits(options.limits)
    if options.first_label is not None:
        limits = limits.with_labels_from(options.first_label)
    with progress(sys.stderr) as line:
        done = judge(
            options.inputs,
            limits,
            options.out,
            rule="simple" if options.simple else "zones",
            progress=partial(line, ""),
            **_given(options, "blades before tooth_1_marked seating history unit sheet"),
            **_given(options, "shop arbor paper date show_in with_readings"),
        )
    return _done(done.text(), done.refused, done.notes)


def run_table(options: Namespace) -> int:
    """Fit every blade of the tables and write one row each."""
    from bladegeom.draw.results import write_answers

    with progress(sys.stderr) as line:
        how = _given(options, "blades unit sheet")
        found = write_answers(options.inputs, options.output, progress=line, **how)
    refused = f", {found.left_out} refused" if found.left_out else ""
    said = f"{_wrote(options.output)}: {found.answered} answered{refused}"
    return _done(said, found.refused, found.notes)


# The rows

_MORE = f"{FITTED} --sheet {FACTS}"

COMMANDS = (
    Command(
        "fit",
        "print the teeth to mark, and how sure they are",
        run_fit,
        "file --blade --was --unit --teeth --ring-radius --graduation --tolerance-deg --fact "
        "--json",
        f"--blades {_MORE}",
        {
            "--tolerance-deg": "the largest error that does not matter: within it any rotation "
            f"will do, and old marks serve; default {NO_MATTER_DEG:g}"
        },
    ),
    Command(
        "read",
        "ask for the readings one by one at the saw, and keep each at once",
        run_read,
        "file --unit --teeth --ring-radius --graduation --name --order --enough --from",
        FACTS,
        {
            "file": {"metavar": "FILE.csv", "help": "a new file, or one to go on with"},
            "--customer": {"help": "whose blade it is"},
        },
    ),
    Command(
        "check",
        "look for mistakes in the readings; propose repairs",
        run_check,
        "file --blade --blades --unit --teeth --graduation --fact --repair --output --json",
        _MORE,
        {"--output": {"metavar": "NEW.csv", "help": "new file; none is overwritten"}},
    ),
    Command(
        "doubt",
        "where the doubt comes from; bends and single teeth",
        _each(lambda fit, _: fit, text=printed.doubt_text, as_dict=_doubt),
        "file --blade --blades --unit --teeth --ring-radius --graduation --fact --json",
        _MORE,
    ),
    Command(
        "marks",
        "the teeth to mark for a near tooth found by eye",
        _told(_marks, text=printed.marks_text, as_dict=_of_marks),
        "--teeth! --near! --diameter --fact --blade --json",
        "",
        {"--blade": "the blade's name"},
    ),
    Command(
        "chart",
        "draw a chart to tape to the wall",
        run_chart,
        "file --output! --kind --paper --tolerance-deg --blade --blades --unit --teeth "
        "--ring-radius",
        _MORE,
        {"--tolerance-deg": "band to draw on a squareness chart"},
    ),
    Command(
        "disc",
        "draw a paper ring to lay on the plate: its teeth numbered, the line to draw along",
        run_disc,
        "file --output! --bore! --face --paper --blade --unit --ring-radius --fact",
        f"--blades {_MORE}",
    ),
    Command(
        "next",
        "which teeth to read next, and how many turns would do",
        _each(lambda fit, given: bg.next_readings(fit, given.n, probability=given.probability)),
        "file -n --probability --blade --blades --unit --teeth --ring-radius --graduation --json",
        _MORE,
    ),
    Command(
        "sheet",
        "draw a blank form for readings, or fill a workbook with the day's blades",
        run_sheet,
        "--output! --teeth|--list --xlsx --turns --unit --name --csv --diameter --ring-radius",
        f"--paper {FACTS}",
        {
            "--output": "a new .pdf, .svg, .png or .xlsx file",
            "--unit": "unit of the readings",
        },
    ),
    Command(
        "squareness",
        "the squareness error at a rotation",
        _each(_square),
        "file --away|--tooth --span --tolerance-deg --blade --blades --unit --ring-radius --json",
        _MORE,
        {"--tolerance-deg": "for the chance of being out by more"},
    ),
    Command(
        "setup",
        "set up a saw step by step, from its own text file; draw its card",
        run_setup,
        "file --next --record --output --paper --json",
        told={"file": {"metavar": "SAW.toml", "help": "what was measured, part by part"}},
        epilog="A reading that is recorded names its part, then keys and values as in the file: "
        '"table shows=0.05 0.10 0.05 toward=left"; of several bevels or stops which one, '
        '"bevel 2 shows=45.05"; a blade that was mounted or read anew, "blade readings=FILE.csv". '
        "What people read at the saw, by part of the file. [table] and [[bevel]], a square: "
        "gap, open (top or bottom), height, and the side of the blade on which it stood; a gap at "
        "the top means that the blade leans away from the square. [table], degrees: shows, from "
        "the upright, with toward, the side to which the top leans; or from the table, with side, "
        "where the angle box sat: it turns 90 and the lean toward its own side. Many displays fold "
        "at 90, and then tell no side; folds = false says that it goes on. [[bevel]], degrees: "
        "shows, with from (upright or table). "
        "[miter_gauge]: against plate or bar; a square's gap, open (front or back), length and "
        "side, or shows with side, the corner between the gauge's fence and plate or bar there. "
        "[riving_knife]: a straightedge's gap, open, length and side, or an indicator in a slot: "
        "front, back, separation and side. The instrument's resolution (or graduation), "
        "repeatability and accuracy go into the doubt.",
    ),
    Command(
        "shelf",
        "list every blade of a shop with its marks, the worst first",
        _one(lambda given: bg.shelf(given.folder), draw="shelf_page"),
        "folder --output --paper --json",
    ),
    Command(
        "batch",
        "judge a day's blades: a sheet each for its owner, labels, and the queue",
        run_batch,
        "inputs --limits! --out! --blades --before --tooth-1-marked --history --unit --shop --date",
        "--show-in --with-readings --first-label --seating --simple --arbor --paper --sheet",
        {
            "--limits": "the shop's own limits, and its sheets of labels in a part [labels]",
            "--blades": "CSV with one row of facts a blade, and what the eye found in a column "
            "eye: none, or the fault",
            "--history": "add the measurements to this history, but those in which a mistake was "
            "found",
            "--date": "for the sheets, such as 2026-11-25; today's",
        },
    ),
    Command(
        "table",
        "answer any number of blades into one table, a row a blade",
        run_table,
        "inputs --output! --blades --unit",
        "--sheet",
        told={"--output": "a new .csv or .xlsx file, or an older table of answers"},
    ),
    Command(
        "clock",
        "arbor or blade? and the tooth to put at the arbor's mark",
        _told(_clocks, text=printed.result_text, draw="clock_chart"),
        "file --flange --output --paper --unit --teeth --ring-radius --graduation --fact --json",
        _MORE,
        {
            "file": "CSV of readings with a column mount, and clock_deg (where tooth 1 stands from "
            "the arbor's mark) or clock_tooth (the tooth at the mark)"
        },
    ),
    Command(
        "plate",
        "tilted or bent? the plate's shape from several rings, and its best rotation",
        _one(_shape, text=_shape_text, draw="rotation_chart"),
        "file --table-height --reach --away-from-centre --line --tolerance-deg --blade --unit "
        "--output --json",
        f"--harmonics --paper --sheet {FACTS}",
        {
            "file": "CSV of readings at several ring radii; columns stand, flipped, zero where "
            "needed",
            "--blade": "which blade, where the file holds several",
            "--tolerance-deg": "largest slope",
            "--harmonics": {
                "default": 2,
                "help": "waves a turn to fit: 1 tilt and dish, 2 (the default) the saddle too",
            },
        },
    ),
    Command(
        "cut-wall",
        "the wall of the cut that the teeth leave: marks, height, Ra",
        _each(_wall, draw="cut_wall_chart"),
        "file --feed! --height! --side-angle! --corner --wall --blade --output --paper --json",
        f"--blades {_MORE}",
    ),
    Command(
        "change",
        "before and after: has the wobble of a blade improved?",
        run_change,
        "before after --blade --customer --blades --unit --tooth-1-marked --seating --json",
        "--sheet",
        told={"--blade": "which blade, where a file holds several"},
    ),
    Command(
        "record",
        "append the measurements of a table to the shop's history",
        run_record,
        "file --history! --blades --unit --tooth-1-marked --date --arbor --service --note",
        "--sheet",
        told={"file": "CSV or XLSX of readings"},
    ),
    Command(
        "trend",
        "show how a blade changes over the years",
        _told(_trend, draw="trend_chart", alone=True),
        "--history! --blade! --customer --of --output --paper --json",
        told={"--blade": "which blade"},
    ),
)


class _Parser(argparse.ArgumentParser):
    """What is wrong with the options is said as all else is."""

    def error(self, message: str) -> NoReturn:
        self.print_usage(sys.stderr)
        raise refuse(message, f"see {self.prog} --help")


def parser(word: str | None = None) -> argparse.ArgumentParser:
    """Return the parser of the whole command, or of one word: only the options of that are told."""
    command = _Parser(
        prog="bladegeom",
        description="From dial-indicator readings of a saw blade, one a tooth, to the teeth to "
        "mark: the neutral line, which stands upright to set the table and the bevels, and level "
        "to set the miter gauge and the riving knife.",
        epilog="Unplug the saw before you touch the blade. The saw's manual comes first.",
    )
    command.add_argument("--version", action="version", version=f"bladegeom {__version__}")
    commands = command.add_subparsers(required=True, metavar="COMMAND")
    for row in COMMANDS:
        made = commands.add_parser(row.name, help=row.help, epilog=row.epilog)
        if word in (None, row.name):
            fill(made, row.options, row.more, row.told)
        made.set_defaults(run=row.run)
    return command
