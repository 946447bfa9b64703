"""The dialogue at the saw, line by line: what is taken, asked about, undone, kept and ended."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from live_session import FACTS, TEETH, asked_tooth, reading_of, session_text

import bladegeom as bg
from bladegeom.faults import refuse
from bladegeom.lengths import NumberError
from bladegeom.live.about import About
from bladegeom.live.session import DONE, STOPPED, Session, parse_entry
from bladegeom.live.taken import Taken, begun, found, taken_from

PATH = Path("blade.csv")


def new(teeth: int = TEETH, *, spread: bool = False, **more) -> Session:
    """Return a session of which every state is kept in `kept`."""
    taken = begun(PATH, "thou", "A", {**FACTS, "teeth": teeth})
    return Session(taken, lambda _: None, spread=spread, **more)


def rows(session: Session) -> list[tuple[int, float | None]]:
    return list(session.state.taken.rows)


def fed(session: Session, *lines: str) -> Session:
    for line in lines:
        session.take(line)
    return session


def through(session: Session, until: int = 1000) -> Session:
    """Answer as the dial shows until the session ends, or so many teeth are taken."""
    while not session.ended and len(session.state.taken.asked) < until:
        session.take(reading_of(asked_tooth(session.prompt)))
    return session


# One entry


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("12.5", 12.5),
        ("12,5", 12.5),
        ("-.5", -0.5),
        ("\u22120.5", -0.5),
        ("+3", 3.0),
        ("1/2", 0.5),
        ("1 1/2", 1.5),
        ("12.5thou", 12.5),
        ("12.5 THOU", 12.5),
        ("+0.0125 in", 12.5),
        ("0.3175mm", 12.5),
        ("0,001", 0.001),
        ("1.234", 1.234),
    ],
)
def test_a_reading_is_understood_as_people_and_dials_write_it(text, value):
    assert parse_entry(text, "thou") == value
    assert rows(fed(new(), text)) == [(1, value)]


@pytest.mark.parametrize(
    "text",
    ["tooth 9", "12.5.1", "1,234", "N+00.0125", "12 13", "nan", "1e99", "g", "12 cm", "g 41"],
)
def test_a_wrong_entry_is_said_and_changes_nothing(text):
    session = fed(new(), "1")
    before = session.state
    assert session.take(text)
    assert session.state == before


def test_what_could_be_two_numbers_names_both():
    with pytest.raises(NumberError, match=r"1\.234 or 1234"):
        parse_entry("1,234", "mm")


def test_what_was_not_typed_as_it_is_understood_is_shown():
    session = new()
    assert session.take("12.5") == []
    assert session.take("12,5") == ["= 12.5 thou"]
    assert session.take("0.0125in") == ["= 12.5 thou"]


@pytest.mark.parametrize("line", ["?", "u", "q", "s", "g 3"])
def test_a_device_gives_numbers_and_no_orders(line):
    session = fed(new(), "1")
    before = session.state
    assert session.take(line, typed=False)
    assert session.state == before


def test_each_reading_is_kept_before_the_next_is_asked_for():
    kept: list[Taken] = []
    session = Session(begun(PATH, "thou", "A", FACTS), kept.append)
    for count in range(1, 6):
        session.take("1")
        assert kept[-1] == session.state.taken
        assert len(kept) == count == len(kept[-1].rows)


def test_what_cannot_be_kept_is_not_taken():
    def full(_: Taken) -> None:
        raise refuse("the disk is full", "free some room")

    session = Session(begun(PATH, "thou", "A", FACTS), full)
    (said,) = session.take("1")
    assert "the disk is full" in said
    assert rows(session) == []
    assert asked_tooth(session.prompt) == 1


# u, g, ?


def test_u_takes_back_one_after_another():
    session = fed(new(), "1", "?", "3", "u", "u")
    assert rows(session) == [(1, 1.0)]
    assert asked_tooth(session.prompt) == 2
    fed(session, "u", "u", "u")
    assert rows(session) == []
    assert asked_tooth(session.prompt) == 1


def test_u_after_g_takes_back_the_last_reading_and_goes_to_its_tooth():
    session = fed(new(), "1", "2", "g 12", "u")
    assert rows(session) == [(1, 1.0)]
    assert asked_tooth(session.prompt) == 2


def test_u_brings_back_what_a_tooth_taken_anew_was():
    session = fed(new(), "1", "2", "3", "g 2", "2.5")
    assert rows(session) == [(1, 1.0), (3, 3.0), (2, 2.5)]
    assert rows(fed(session, "u")) == [(1, 1.0), (2, 2.0), (3, 3.0)]


def test_g_goes_on_from_there_and_comes_back_to_what_was_passed():
    session = fed(new(6), "1", "g 5", "5", "6")
    assert [one[0] for one in rows(session)] == [1, 5, 6]
    assert asked_tooth(session.prompt) == 2


def test_g_12_without_a_blank_is_the_same():
    assert asked_tooth(fed(new(), "g12").prompt) == 12


# Questions


def test_a_reading_that_does_not_fit_is_asked_about_and_stays_by_enter():
    session = through(new(), 19)
    tooth = asked_tooth(session.prompt)
    (said,) = session.take("12")
    assert f"tooth {tooth}" in said
    assert session.prompt == f"tooth {tooth} again: "
    assert rows(session)[-1] == (tooth, 12.0)  # It is in the file all the same.
    session.take("")
    assert rows(session)[-1] == (tooth, 12.0)
    assert asked_tooth(session.prompt) == tooth + 1


def test_the_reading_again_takes_its_place():
    session = fed(through(new(), 19), "40", reading_of(20))
    assert rows(session)[-1] == (20, float(reading_of(20)))
    assert asked_tooth(session.prompt) == 21


def test_the_same_again_stands_and_is_not_asked_about_once_more():
    session = fed(through(new(), 19), "12", "12")
    assert rows(session)[-1] == (20, 12.0)
    assert asked_tooth(session.prompt) == 21


def test_a_tooth_that_was_kept_and_is_taken_anew_is_judged_anew():
    session = fed(through(new(), 19), "12", "", "g 20", "40")
    assert session.prompt == "tooth 20 again: "


def test_a_slip_of_the_point_is_asked_about_at_once_and_the_right_tooth_is_found():
    session = fed(new(), "125")
    session.take("1.5")
    assert session.waits  # Nothing tells yet which of the two it is.
    session.take("")
    assert session.prompt == "tooth 1 again: "
    session.take("1.25")
    assert asked_tooth(session.prompt) == 3
    assert dict(rows(session)) == {1: 1.25, 2: 1.5}


def test_a_reading_a_hundred_times_the_others_is_asked_about():
    session = fed(new(), "0.5", "0.25", "-0.5")
    assert not session.waits
    session.take("50")
    assert session.waits


# Ends


def test_all_teeth_then_the_closing_reading_then_the_end():
    session = through(new(), TEETH)
    assert session.prompt == "tooth 1 again: "
    session.take(reading_of(1))
    assert session.state.at == DONE
    taken = session.state.taken
    readings = taken_from(taken.text().encode(), PATH).readings()
    assert [*readings.tooth] == [*range(1, TEETH + 1), 1]
    assert readings.closure == 0
    assert "finished" not in taken.text()
    assert bg.neutral_line(bg.fit_wobble(readings)).neutral_teeth in ([33, 13], [13, 33])


def test_the_first_tooth_that_was_read_closes_the_turn():
    session = through(fed(new(), "?", "?"), TEETH)
    assert session.prompt == "tooth 3 again: "


def test_a_closing_reading_that_is_off_is_asked_about():
    session = fed(through(new(), TEETH), "12")
    assert session.waits
    assert not session.ended
    session.take(reading_of(1))
    assert session.state.at == DONE
    assert session.state.taken.readings().closure == 0


@pytest.mark.parametrize("line", ["?", "q"])
def test_the_closing_reading_may_be_left_out(line):
    session = fed(through(new(), TEETH), line)
    assert session.state.at == DONE
    assert session.state.taken.readings().closure is None


def test_q_stops_and_going_on_asks_for_the_next_tooth():
    session = fed(through(new(), 5), "q")
    assert session.state.at == STOPPED
    again = Session(session.state.taken, lambda _: None)
    assert asked_tooth(again.prompt) == 6


def test_spread_stops_when_enough_is_read_and_names_teeth_that_serve():
    shown, taken = session_text()
    assert 8 <= len(taken.asked) < 20
    assert "will do" in shown
    readings = taken.readings()
    whole = through(new(), 1000).state.taken.readings()
    marks = bg.neutral_line(bg.fit_wobble(readings))
    left = bg.squareness_error(
        bg.fit_wobble(whole),
        marks.blade.angle_of(marks.neutral_teeth[0]) - bg.fit_wobble(whole).near_deg - 90,
    )
    assert abs(left) <= marks.left_most_deg
    assert readings.closure is not None


def test_g_reads_on_after_enough_and_nothing_more_is_offered():
    session = new(spread=True)
    while not session.waits:
        session.take(reading_of(asked_tooth(session.prompt)))
    count = len(session.state.taken.asked)
    session.take("g")
    assert asked_tooth(session.prompt) not in session.state.taken.asked
    through(session)
    assert count < len(session.state.taken.asked) == TEETH
    assert session.state.taken.closed


def test_a_closed_early_stop_can_be_read_on():
    _, taken = session_text()
    assert taken.closed
    again = Session(taken, lambda _: None, spread=True)
    assert not again.ended
    again.take("g")
    whole = through(again).state.taken
    assert whole.whole
    assert whole.closed
    assert len(whole.rows) == TEETH + 1


def test_in_tooth_order_nothing_ends_early_unless_it_is_asked_for():
    assert len(through(new()).state.taken.asked) == TEETH
    assert len(through(new(wanted_deg=0.02)).state.taken.asked) < TEETH


# Whatever is typed


LINES = st.one_of(
    st.sampled_from(["?", "u", "s", "", "g", "g 3", "g 7", "g 99", "tooth 9", "1,234", "400"]),
    st.integers(-8, 8).map(lambda half: f"{half / 2:g}"),
)


class Model:
    """What a careful person would have in the notebook, told the same."""

    def __init__(self) -> None:
        self.rows: list[tuple[int, float | None]] = []
        self.past: list[list[tuple[int, float | None]]] = []

    def take(self, line: str, tooth: int, *, closing: bool) -> None:
        if line == "u":
            self.rows = self.past.pop() if self.past else self.rows
        elif line == "?" or line.lstrip("-").replace(".", "").isdigit():
            self.past.append(self.rows)
            rows = list(self.rows)
            if len({one for one, _ in rows}) < len(rows):
                rows.pop()
            if not closing:
                rows = [row for row in rows if row[0] != tooth]
            self.rows = [*rows, (tooth, None if line == "?" else float(line))]


@settings(max_examples=50, deadline=None)
@given(st.lists(LINES, max_size=30), st.booleans())
def test_any_entries_leave_the_file_that_a_careful_person_would_have_written(lines, spread):
    files: list[str] = []
    session = Session(
        begun(PATH, "thou", "A", {**FACTS, "teeth": 9}),
        lambda taken: files.append(taken.text()),
        spread=spread,
    )
    model = Model()
    for line in lines:
        if session.ended:
            break
        state = session.state
        about = state.question
        closing = about.closing if about else state.at == "close"
        model.take(line, asked_tooth(session.prompt), closing=closing)
        session.take(line)
        assert rows(session) == model.rows
        assert not files or files[-1] == session.state.taken.text()
    held = taken_from(session.state.taken.text().encode(), PATH)
    assert held == session.state.taken
    read = [row for row in model.rows if row[1] is not None]
    assert [*held.readings().tooth] == [tooth for tooth, _ in read]
    assert [*held.readings().reading] == [value for _, value in read]


# What is asked before


def test_only_what_must_be_known_is_insisted_on():
    about = About(PATH, {})
    for line in ("", "thou", "", "40", "", "", "", "", ""):
        about.take(line)
    assert about.ended
    assert about.begin().constant == {"teeth": "40"}


def test_a_fact_that_cannot_be_is_asked_again_at_once():
    about = About(PATH, {"unit": "thou", "teeth": 40, "diameter": (10.0, "in")})
    before = about.prompt
    for line in ("4.5", "9in", "4.5mm", "x"):
        assert about.take(line)
        assert about.prompt == before
    assert about.take("") == []
    assert about.prompt != before
    assert "ring_radius_in" not in about.begin().constant


def test_u_asks_the_fact_before_again():
    about = About(PATH, {})
    about.take("mm")
    about.take("u")
    for line in ("thou", "24", "", "", "", "", "B 7"):
        about.take(line)
    taken = about.begin()
    assert (taken.unit, taken.blade.teeth, taken.blade.name) == ("thou", 24, "B 7")


def test_what_is_stated_wrong_is_refused_before_anything_is_asked():
    with pytest.raises(bg.RefusedError, match="ring"):
        About(PATH, {"unit": "mm", "teeth": 40, "ring_radius": (4.5, "mm"), "diameter": (10, "in")})


# The file


def saved(folder: Path, text: str) -> Path:
    path = folder / "blade.csv"
    path.write_text(text)
    return path


def test_a_blank_form_is_filled_in(tmp_path):
    from bladegeom.tables.out import blank_table

    path = saved(tmp_path, blank_table(12, "A", "thou", 1, {"ring_radius": (4.5, "in")}))
    taken = found(path, None, "", {})
    assert taken is not None
    assert (taken.rows, taken.blade.teeth, taken.unit) == ((), 12, "thou")
    session = fed(Session(taken, lambda one: one.save(path)), "1.5", "?")
    assert found(path, "thou", "A", {"teeth": 12}) == session.state.taken
    assert bg.read_blade(path).ring_radius_mm == pytest.approx(114.3)


def test_a_fact_that_is_new_is_added_and_all_that_stood_there_stays(tmp_path):
    path = saved(tmp_path, "tooth,reading_mm,teeth,note\n1,0.5,12,gummy\n2,?,12,gummy\n")
    taken = found(path, None, "", {"graduation": (0.01, "mm")})
    assert taken is not None
    taken.save(path)
    assert "gummy" in path.read_text()
    assert bg.read_blade(path).graduation_mm == 0.01


@pytest.mark.parametrize(
    ("text", "name", "facts"),
    [
        ("blade,tooth,reading_thou,teeth\nA,1,0.5,12\n", "B", {}),
        ("blade,tooth,reading_thou,teeth\nA,1,0.5,12\nB,1,0.5,12\n", "", {}),
        ("tooth,reading_thou,teeth\n1,0.5,12\n", "", {"teeth": 13}),
        ("tooth,reading_mm,teeth\n1,0.5,12\n", "", {}),
        ("tooth,reading_thou,teeth,note\n1,0.5,12,a\n2,0.5,12,b\n", "", {}),
        ("tooth,turn,reading_thou,teeth\n1,1,0.5,12\n1,2,0.5,12\n", "", {}),
        ("tooth;reading_thou;teeth\n1;0,5;12\n", "", {}),
        ("blade,1,2,3,4\nA,1,2,3,4\n", "", {}),
        ("tooth,reading_thou,teeth\n1,0.5,12\n2,1,12\n1,3,12\n4,1,12\n", "", {}),
    ],
)
def test_a_file_that_cannot_be_gone_on_with_is_refused_and_stays(tmp_path, text, name, facts):
    path = saved(tmp_path, text)
    with pytest.raises(bg.RefusedError):
        found(path, "thou", name, facts)
    assert path.read_text() == text


def test_a_file_is_replaced_whole_or_stays(tmp_path, monkeypatch):
    path = tmp_path / "blade.csv"
    session = Session(begun(path, "thou", "A", FACTS), lambda one: one.save(path))
    session.take("1")
    before = path.read_bytes()

    def cut(*_: object) -> None:
        raise OSError(5, "the power is cut")

    monkeypatch.setattr("os.replace", cut)
    assert "the power is cut" in session.take("2")[0]
    assert path.read_bytes() == before
    assert asked_tooth(session.prompt) == 2


def test_where_nothing_can_be_written_is_said_before_the_first_reading(tmp_path):
    for path in (tmp_path / "no" / "blade.csv", tmp_path / "blade.xlsx"):
        with pytest.raises(bg.RefusedError):
            found(path, None, "", {})


# A service's verdict


def limits(tmp_path, thou: float):
    path = tmp_path / "limits.toml"
    path.write_text(
        f'[[limit]]\nquantity = "wobble_tir"\nvalue = "{thou} thou"\nsource = "invented"\n'
    )
    return bg.read_limits(path)


@pytest.mark.parametrize("thou", [2.0, 40.0])
@pytest.mark.parametrize(("spread", "count"), [(True, 8), (False, 39)])
def test_no_verdict_is_made_of_an_early_stop_and_one_is_of_all_teeth(tmp_path, spread, count, thou):
    path = tmp_path / "blade.csv"
    session = through(new(spread=spread), count)
    verdicts = {}
    for whole in (False, True):
        fed(session, "q")
        session.state.taken.save(path)
        fit = bg.fit_wobble(bg.read_blade(path))
        verdicts[whole] = bg.assess(fit, limits(tmp_path, thou), eye="none")
        session = through(Session(session.state.taken, lambda _: None))
    assert verdicts[False].teeth_read == count
    assert verdicts[False].outcome == "undecided"
    assert verdicts[False].action == "measure again"
    assert verdicts[True].outcome == ("conforms" if thou > 10 else "does not conform")
