"""The commands that look back, as they are typed; and the trend chart."""

from __future__ import annotations

import csv
import json
import shutil
from dataclasses import replace

import pytest
from fits import boxes_of, check_fits
from shop_days import LIMITS
from test_history import DAY
from test_trend import visits_of

import bladegeom as bg
from bladegeom.__main__ import main


def a_table(path, amplitude, seed, names=("K-0412",)):
    from simulated import rng_for, wave

    rng = rng_for(seed)
    rows = ["blade,tooth,reading_mm,teeth,ring_radius_mm,diameter_mm"]
    for name in names:
        read = wave(24, amplitude, 100.0, rng.normal(0, 0.002, 24)).reading
        rows += [f"{name},{k},{one:.4f},24,110,254" for k, one in enumerate(read, start=1)]
    path.write_text("\n".join(rows) + "\n")
    return str(path)


def test_change_says_whether_it_improved(tmp_path, capsys):
    before, after = a_table(tmp_path / "b.csv", 0.09, 1), a_table(tmp_path / "a.csv", 0.03, 2)
    assert main(["change", before, after, "--tooth-1-marked", "--seating", "0.2thou"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("Blade K-0412: improved\n")
    assert "Unplug the saw" in said
    assert main(["change", before, after, "--json"]) == 0
    held = json.loads(capsys.readouterr().out)
    assert held["verdict"] == "improved"
    assert held["tir_change"] == pytest.approx(-0.12, abs=0.005)
    assert main(["change", after, before]) == 0
    assert "worse" in capsys.readouterr().out.splitlines()[0]


def test_change_of_what_cannot_be_compared_is_refused(tmp_path, capsys):
    before = a_table(tmp_path / "b.csv", 0.09, 1)
    other = a_table(tmp_path / "o.csv", 0.09, 1, names=("K-0500",))
    assert main(["change", before, other]) == 2
    assert "it is of blade K-0500, not K-0412" in capsys.readouterr().err


def test_record_and_trend(tmp_path, capsys):
    kept = str(tmp_path / "kept")
    for place, day in enumerate(("2023-02-01", "2024-02-05", "2025-02-03", "2026-02-02")):
        table = a_table(tmp_path / f"{place}.csv", 0.03 + 0.01 * place, place, ("K-0412", "K-7"))
        typed = ["record", table, "--history", kept, "--date", day, "--arbor", "bench 1"]
        assert main(typed) == 0
        assert "recorded 2 in" in capsys.readouterr().out
        assert main(typed) == 0
        assert "recorded 0 in" in capsys.readouterr().out
    chart = tmp_path / "trend.pdf"
    assert main(["trend", "--history", kept, "--blade", "K-0412", "-o", str(chart)]) == 0
    said = capsys.readouterr().out
    assert "growing" in said.splitlines()[0]
    assert chart.read_bytes().startswith(b"%PDF")
    assert main(["trend", "--history", kept, "--blade", "K-7", "--of", "diameter", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "no change shown"
    assert main(["trend", "--history", kept, "--blade", "K-8"]) == 2
    assert "no blade K-8; it holds K-0412, K-7" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("typed", "asked"),
    [("b1", False), (" b1 ", False), ("b2", False), ("B1", True), ("b 1", True), ("b-1", True)],
)
def test_an_arbor_spelt_otherwise_is_asked_about_and_nothing_changed(
    tmp_path, capsys, typed, asked
):
    kept = str(tmp_path / "kept")
    first, table = (a_table(tmp_path / f"{name}.csv", 0.03, seed) for seed, name in enumerate("ab"))
    assert main(["record", first, "--history", kept, "--arbor", "b1"]) == 0
    assert not capsys.readouterr().err
    limits = tmp_path / "shop.toml"
    limits.write_text(LIMITS)
    for again in ("record", "batch"):
        mine = tmp_path / again
        shutil.copytree(kept, mine)
        how = ["--history", str(mine), "--arbor", typed]
        if again == "batch":
            how += ["--limits", str(limits), "--out", str(tmp_path / "out")]
        assert main([again, table, *how]) == 0
        told = capsys.readouterr().err
        assert ('"b1"' in told) is asked
        arbors = [one.arbor for one in bg.read_history(mine).visits]
        assert arbors == ["b1", typed.strip()]
        assert main([again, table, *how]) == 0  # Nothing is added, so nothing is asked.
        assert '"b1"' not in capsys.readouterr().err
        (file,) = mine.iterdir()
        header, *lines = csv.reader(file.read_text().splitlines())
        for line in lines:
            line[0], line[header.index("arbor")] = "", "b1"  # As the note says.
        file.write_text("\n".join(map(",".join, [header, *lines])))
        mended = bg.read_history(mine)
        assert [one.arbor for one in mended.visits] == ["b1", "b1"]
        assert not mended.refused


def test_a_bad_blade_or_line_stops_no_other(tmp_path, capsys):
    kept = tmp_path / "kept"
    table = tmp_path / "t.csv"
    a_table(table, 0.05, 1, ("K-1", "K-2"))
    table.write_text(table.read_text().replace("K-2,3,", "K-2,3,x"))
    assert main(["record", str(table), "--history", str(kept), "--date", "2026-01-05"]) == 1
    told = capsys.readouterr()
    assert "recorded 1" in told.out
    assert "K-2" in told.err
    (file,) = kept.iterdir()
    file.write_bytes(file.read_bytes() + b"0000,torn")
    assert main(["trend", "--history", str(kept), "--blade", "K-1"]) == 1
    assert "2026.csv: row 3: the line is not whole" in capsys.readouterr().err


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_the_chart_fits_its_page(paper):
    visits = visits_of([0.30, 0.31, 0.32, 0.05, 0.063, 0.07, 0.081, 0.088])
    visits[1] = replace(visits[1], ring_radius_mm=90.0)
    visits[3] = replace(visits[3], service="after")
    visits[4] = replace(visits[4], arbor="the old spindle by the window")
    visits[6] = replace(visits[6], side="left", surface="teeth")
    long = [replace(one, blade="a blade with a rather long name, no. 412/b") for one in visits]
    for trend in (bg.trend(visits), bg.trend(long, "diameter"), bg.trend(visits[:2])):
        ax = bg.trend_chart(trend, paper=paper, date=DAY)
        check_fits(ax)
        words = " ".join(words for words, _ in boxes_of(ax))
        assert "Unplug the saw" in words
        for one in trend.apart:
            assert one.apart in words.replace("\n", " ")
        for name, points in (("apart", trend.apart), ("compared", trend.compared)):
            drawn = [bar for bar in ax.containers if bar.get_label().startswith(name)]
            assert [*drawn[0][0].get_ydata()] == [one.value for one in points] if points else True


def test_the_chart_shows_what_the_trend_holds():
    trend = bg.trend(visits_of([0.10, 0.12, 0.141, 0.159]))
    ax = bg.trend_chart(trend, date=DAY)
    (points,) = [line for line in ax.lines if line.get_linestyle() == "None"][:1]
    assert list(points.get_ydata()) == [one.value for one in trend.compared]
    (line,) = [line for line in ax.lines if line.get_label() == "line"]
    assert line.get_ydata()[-1] == pytest.approx(trend.at(trend.compared[-1].visit.date).value)
    assert "growing" in " ".join(words for words, _ in boxes_of(ax)).lower()


def test_readings_with_a_mistake_in_them_are_not_recorded(tmp_path, capsys):
    table = tmp_path / "t.csv"
    faults = [bg.invented.Tilt("0.1 mm"), bg.invented.Gum(9, "0.2 mm")]
    made = bg.simulate(bg.Blade(40, diameter="254 mm", name="K-7"), rng=5, faults=faults)
    made.to_frame().to_csv(table, index=False)
    assert main(["record", str(table), "--history", str(tmp_path / "kept")]) == 2
    said = capsys.readouterr().err
    assert "blade K-7: not recorded, a mistake may be in the readings" in said
    assert f"see bladegeom check {table}" in said
    assert not (tmp_path / "kept").exists()
