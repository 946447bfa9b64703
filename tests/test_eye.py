"""What the eye found: words that pass a blade, that stop it, and that are asked about."""

from __future__ import annotations

from itertools import count

import openpyxl
import pytest
from pypdf import PdfReader
from shop_days import GOOD, LIMITS, queue_rows
from shop_days import day as table
from written import run, save, sheet, wave

import bladegeom as bg
from bladegeom.tables._damage import is_ditto
from bladegeom.tables.eye import BLANK, FAULT, NOTHING, UNCLEAR, eye_says

FINDS_NOTHING = [
    *("none", "None.", "NONE", "nothing", "Nothing found.", "nil", "nothing wrong"),
    *("OK", "ok.", "O.K.", "Okay!", "good", "Good.", "fine", "clean", "intact", "in order"),
    *("all OK", "looks good", "\u201cOK\u201d", "(ok)", "good condition", "blade ok", "passed"),
    *("no cracks", "No cracks.", "no crack", "0 cracks", "not cracked", "crack-free", "no damage"),
    *("no missing tips", "no tips missing", "no defect", "no defects", "no defect found"),
    *("no visible cracks", "no signs of cracks", "no heat marks", "free of cracks", "w/o cracks"),
    *("no cracks, no missing tips", "no cracks or missing tips", "no cracks; no missing tips"),
    *(
        "no cracks, chips or missing tips",
        "ok, no cracks",
        "OK - no cracks",
        "not cracked or chipped",
    ),
    *(
        "cracks: none",
        "cracks: 0",
        "cracks none",
        "the blade is not cracked",
        "clean and no cracks",
    ),
]
FINDS_A_FAULT = [
    *("crack", "Crack.", "CRACKED", "cracks", "crack at tooth 7", "hairline crack", "10 cracks"),
    *("crack at tooth 10", "crack 0.5 mm long", "Crack, not through", "crack in gullet, ok else"),
    *("a chipped tip", "two tips lost", "tip missing", "1 tip missing", "missing", "broken tooth"),
    *("no cracks but tip missing", "ok, one tip chipped", "OK but cracked", "ok; crack at 7"),
    *("no cracks. One tip missing", "no cracks, tip 7 missing", "good except for a chipped tip"),
    *("heat marks", "burnt", "wrong bore", "bore worn", "out of service", "damaged: kink at 9"),
    *("tooth no. 7 broken", "crack by tooth no 7"),
]
SAYS_NEITHER = [
    *("?", "x", "0", "1", "yes", "TRUE", "\u2713", ".", "bad"),
    *("ok?", "crack?", "cracked?", "no cracks?", "possible crack", "maybe cracked", "seems ok"),
    *("not ok", "not good", "no good", "not checked", "not looked at", "checked for cracks"),
    *("no tips", "no teeth", "label missing", "gum", "dull", "needs cleaning", "ok if cleaned"),
    *("no cracks, tip missing", "no cracks and tip missing", "no cracks tip missing"),
    *("no cracks, tip missing or broken", "no cracks, tip missing or chips", "no cracks, chips"),
    *("hardly any cracks", "no new cracks", "no large cracks", "crack repaired", "old crack"),
    *("tip 7 missing, replaced", "none, crack at 7", "cracks, none", "crack not found", "craked"),
    *("isn't cracked", "crack gone", "OK but", "nothing but a crack", "teeth ok", "was ok"),
    *("Riss", "kein Riss", "ohne Befund", "i.O.", "gut", "sans fissure", "Crack: nein", "nada"),
]
DITTO = ['"', "''", "\u3003", "\u201d", '-"-', ",,", "ditto", "Do.", "same", "as above"]


@pytest.mark.parametrize(
    ("found", "words"),
    [*((NOTHING, one) for one in FINDS_NOTHING), *((FAULT, one) for one in FINDS_A_FAULT)],
)
def test_words_that_find_nothing_or_a_fault(found, words):
    assert eye_says(words) == found
    assert eye_says(f" {words.upper()} ") == found


@pytest.mark.parametrize("text", ["", "  ", "-", "--", "no", "No.", "n/a", "\u2013"])
def test_a_dash_or_a_bare_no_claims_neither_that_it_looked_nor_that_it_found(text):
    assert eye_says(text) == BLANK


@pytest.mark.parametrize("words", [*SAYS_NEITHER, *DITTO])
def test_other_words_are_asked_about(words):
    assert eye_says(words) == UNCLEAR
    assert eye_says(words.swapcase()) == UNCLEAR


@pytest.mark.parametrize("fault", ["cracked", "a chipped tip", "tip 7 missing", "heat marks"])
@pytest.mark.parametrize("good", ["ok", "no cracks", "not cracked", "clean"])
@pytest.mark.parametrize("link", [" but ", "; ", ". ", ", ", " and ", " - ", " (", "/", " "])
def test_a_fault_is_lost_in_no_sentence(good, fault, link):
    """Whatever joins them, good words never cover the fault."""
    assert eye_says(f"{good}{link}{fault}") != NOTHING
    assert eye_says(f"{fault}{link}{good}") != NOTHING
    assert eye_says(f"{good}{link}{fault}?") == UNCLEAR


@pytest.mark.parametrize("text", DITTO)
def test_ditto_marks_are_known(text):
    assert is_ditto(f" {text} ")


@pytest.mark.parametrize("text", ["", "-", "A", "'", "O'Hara", "do", '5"', '10" rip', "samesame"])
def test_a_name_is_no_ditto_mark(text):
    assert not is_ditto(text)


# In the day's run


@pytest.fixture
def day(tmp_path):
    """Run a day of quiet blades with a table of what the eye found; return what came of it."""
    limits = save(tmp_path / "shop.toml", LIMITS)
    runs = count()

    def go(seen, names="AB", inputs=None):
        readings = inputs or [table(tmp_path / "day.csv", **dict.fromkeys(names, GOOD))]
        path = seen if not isinstance(seen, str) else save(tmp_path / "seen.csv", seen)
        out = tmp_path / f"out {next(runs)}"
        ran = run(
            *("batch", *readings, "--blades", path, "--limits", limits),
            *("--out", out, "--date", "2026-11-25"),
        )
        held = out / "queue.json"
        found = queue_rows(held) if held.exists() else {}
        return ran, {name: row["action"] for name, row in found.items()}, out

    return go


@pytest.mark.parametrize("words", ["OK", "good", "clean", "no cracks", "0 cracks"])
def test_words_that_find_nothing_pass_a_good_blade(day, words):
    ran, actions, out = day(f"blade,eye\nA,{words}\nB,none\n")
    assert (ran.status, actions["A"]) == (0, "fit for use")
    said = " ".join(PdfReader(out / "sheets" / "A.pdf").pages[0].extract_text().split())
    assert "looked at, nothing found" in said.lower()


@pytest.mark.parametrize("words", ["?", "crack?", "not ok", "Riss", "gum", "same"])
def test_a_blade_of_which_the_words_say_neither_is_neither_passed_nor_stopped(day, words):
    ran, actions, out = day(f"blade,eye\nA,{words}\nB,none\n")
    assert ran.status == 1
    assert actions.get("A") not in ("fit for use", "out of service")
    assert actions["B"] == "fit for use"
    assert not (out / "sheets" / "A.pdf").exists()
    assert words in ran.err
    assert "row 2 of" in ran.err
    assert "blade A" in ran.err


@pytest.mark.parametrize("mark", ["\u3003", "ditto", '""""', "''"])
def test_a_ditto_mark_of_the_eye_is_refused_in_its_row(day, mark):
    ran, actions, _ = day(f"blade,eye\nA,crack at 7\nB,{mark}\n")
    assert (ran.status, actions["A"]) == (1, "out of service")
    assert actions.get("B") not in ("fit for use", "out of service")
    assert "row 3 of" in ran.err
    assert "write it out" in ran.err


def test_ditto_marks_typed_as_quotes_lose_no_row(day):
    """Between two bare quotes the next row is quoted, and would be gone."""
    for seen, names in (
        ('blade,eye\nA,crack at 7\nB,"\nC,"\n', "ABC"),
        ('blade,eye,size\nA,crack at 7,24\nB,",24\nC,",24\nD,none,24\n', "ABCD"),
        ('blade,eye\nA,crack at 7\nB,"\n', "AB"),
    ):
        ran, actions, _ = day(seen, names)
        assert (ran.status, actions) == (2, {})
        assert "row 3" in ran.err


def test_a_note_on_two_lines_is_a_note(day):
    _, actions, _ = day('blade,eye,note\nA,none,"owner calls\non Monday"\nB,"ok\nno cracks",\n')
    assert actions["A"] == "fit for use"
    assert "B" in actions


@pytest.mark.parametrize("mark", ["\u3003", "ditto", "''"])
def test_a_ditto_mark_for_a_name_is_refused_in_its_row(day, tmp_path, mark):
    ran, actions, _ = day(f"blade,eye\nA,none\n{mark},crack at 7\n")
    assert (ran.status, actions) == (2, {})
    assert "row 3" in ran.err
    rows = sheet(blade="A")
    rows[5][0] = rows[6][0] = mark
    batch = bg.read_blades(save(tmp_path / "a.csv", rows))
    (fault, *_) = [one for one in batch.refused if one.blade == mark]
    assert fault.row == 6


def test_the_readings_are_not_the_place_for_what_the_eye_found(tmp_path):
    for column in ("eye", "Eyes", "cracks"):
        rows = sheet(blade="A")
        rows = [[*row, cell] for row, cell in zip(rows, [column, *["crack"] * 12], strict=True)]
        with pytest.raises(bg.RefusedError) as refused:
            bg.read_blades(save(tmp_path / "a.csv", rows))
        assert refused.value.faults[0].row == 1


@pytest.mark.parametrize(
    "header",
    ["eyes", "Eyes", "visual", "visual check", "by eye", "seen", "cracks", "defects", "inspection"],
)
def test_a_column_that_means_the_eye_is_refused_with_its_name(day, header):
    ran, actions, _ = day(f"blade,{header}\nA,crack at 7\nB,none\n")
    assert (ran.status, actions) == (2, {})
    assert "did you mean eye" in ran.err
    assert "row 1" in ran.err


def test_columns_that_are_not_understood_and_rows_of_no_blade_are_named(day, tmp_path):
    seen = "blade,eye,weather,Shelf No\nA,none,x,1\nB,ok,y,2\nC,none,z,3\nD,crack at 9,z,3\n"
    ran, actions, _ = day(seen)
    assert (ran.status, set(actions)) == (0, {"A", "B"})
    for said in ("weather", "shelf_no", "C", "crack at 9", "row 5"):
        assert said in ran.err
    one = run("fit", tmp_path / "day.csv", "--blades", tmp_path / "seen.csv")
    assert "weather" in one.err


def test_a_row_that_is_read_from_another_file_is_not_missed(day, tmp_path):
    facts = "blade,eye\nA,none\nB,none\n"
    files = [
        save(tmp_path / f"{n}.csv", sheet(wave(24, 0.02), blade=n, ring_radius_mm=100))
        for n in "AB"
    ]
    ran, actions, _ = day(facts, inputs=files)
    assert (ran.status, ran.err, set(actions)) == (0, "", {"A", "B"})


@pytest.mark.parametrize("name", ["k-7", "K7", "K 7", " K-7\u200b"])
def test_a_name_written_otherwise_is_refused_with_the_one_that_may_be_meant(day, name):
    ran, actions, out = day(f"blade,eye\n{name},crack at 9\nA,none\n", ("K-7", "A"))
    assert ran.status == 1
    assert actions["A"] == "fit for use"
    assert actions.get("K-7") not in ("fit for use", "out of service")
    assert not (out / "sheets" / "K-7.pdf").exists()
    assert f"did you mean {name.strip()}" in ran.err
    assert "did you mean K-7" in ran.err


@pytest.mark.parametrize(
    "seen",
    [
        *(f"blade,{header}\nA,crack at 9\nB,none\n" for header in ("eye", "Eye", " EYE ")),
        "blade,eye\n  A\u00a0,crack at 9\n B ,none\n",
    ],
)
def test_case_of_the_column_and_blanks_about_a_name_part_no_blade_from_its_row(day, seen):
    ran, actions, _ = day(seen)
    assert (ran.status, actions) == (0, {"A": "out of service", "B": "fit for use"})


def test_a_name_in_another_case_is_another_blade_where_both_are_known(day):
    ran, actions, _ = day("blade,eye\na,crack at 9\nA,none\n", ("a", "A"))
    assert (ran.status, actions) == (0, {"a": "out of service", "A": "fit for use"})
    ran, actions, _ = day("blade,eye\nA,none\n", ("a", "A"))
    assert (ran.status, set(actions.values())) == (0, {"fit for use"})


def test_the_only_row_of_facts_tells_of_the_only_blade_without_a_name(day, tmp_path):
    """Readings that do not name their blade take the row, and what the eye found with it."""
    bare = save(tmp_path / "bare.csv", sheet(wave(24, 0.02), ring_radius_mm=100))
    other = save(tmp_path / "other.csv", sheet(wave(24, 0.02), ring_radius_mm=100))
    for facts in ("blade,eye\nA,crack at 9\n", "eye\ncrack at 9\n"):
        ran, actions, _ = day(facts, inputs=[bare])
        assert (ran.status, actions) == (0, {"bare": "out of service"})
        ran, actions, _ = day(facts, inputs=[bare, other])
        assert (ran.status, actions) == (2, {})


def test_a_workbook_of_facts_is_read_the_same(day, tmp_path):
    book = openpyxl.Workbook()
    for row in (["blade", "Eye"], ["A", "No cracks."], ["B", True]):
        book.active.append(row)
    book.save(tmp_path / "seen.xlsx")
    ran, actions, _ = day(tmp_path / "seen.xlsx")
    assert (ran.status, actions["A"]) == (1, "fit for use")
    assert actions.get("B") not in ("fit for use", "out of service")


def test_the_library_asks_too():
    fit = bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))
    limits = bg.Limits((bg.Limit("wobble_tir", (1, "mm"), "invented"),))
    with pytest.raises(bg.RefusedError) as refused:
        bg.assess(fit, limits, eye="hm")
    (fault,) = refused.value.faults
    assert (fault.column, fault.value) == ("eye", "hm")
    assert bg.assess(fit, limits, eye="No cracks.").action == bg.assess(fit, limits).action


def test_facts_of_nothing_but_the_eye_are_facts_in_a_folder(tmp_path):
    save(tmp_path / "day.csv", sheet(blade="A", ring_radius_mm=100))
    save(tmp_path / "seen.csv", "blade,eye,weather\nA,none,x\n")
    listed = bg.shelf(tmp_path)
    assert not listed.refused
    assert any("weather" in note for note in listed.notes)
