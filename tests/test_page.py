"""Charts as files: true size, whole or absent."""

from __future__ import annotations

import re

import numpy as np
import pypdf
import pytest
from PIL import Image

import bladegeom as bg
from bladegeom.__main__ import main
from bladegeom.draw.page import save_charts


@pytest.fixture(scope="module")
def fit():
    return bg.fit_wobble(bg.read_blade("data_demo/forty_tooth.csv"))


def test_a_pdf_holds_vectors_and_no_picture(fit, tmp_path):
    bg.save_chart(bg.polar_chart(fit), tmp_path / "c.pdf")
    assert not list(pypdf.PdfReader(tmp_path / "c.pdf").pages[0].images)


def test_svg_and_png_are_to_be_had(fit, tmp_path):
    bg.save_chart(bg.polar_chart(fit), tmp_path / "c.svg")
    bg.save_chart(bg.polar_chart(fit), tmp_path / "c.PNG")
    assert "<svg" in (tmp_path / "c.svg").read_text("utf-8")
    with Image.open(tmp_path / "c.PNG") as picture:
        size = np.array(picture.size) / picture.info["dpi"] * 25.4
    assert size == pytest.approx((210, 297), abs=0.3)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("c.jpg", "end in .pdf, .svg or .png"),
        ("c", "end in .pdf, .svg or .png"),
        ("no/such/c.pdf", "there is no folder"),
        ("folder.pdf", "is a folder"),
    ],
)
def test_a_place_that_cannot_be_written_is_refused_in_words(fit, name, says, tmp_path):
    (tmp_path / "folder.pdf").mkdir()
    with pytest.raises(bg.RefusedError, match=re.escape(says)):
        bg.save_chart(bg.polar_chart(fit), tmp_path / name)
    assert [one.name for one in tmp_path.iterdir()] == ["folder.pdf"]


def test_several_blades_fit_into_a_pdf_and_no_other_file(fit, tmp_path):
    charts = [bg.polar_chart(fit), bg.polar_chart(fit)]
    save_charts(charts, tmp_path / "c.pdf", 2)
    assert len(pypdf.PdfReader(tmp_path / "c.pdf").pages) == 2
    with pytest.raises(bg.RefusedError, match=r"name a \.pdf file"):
        save_charts(charts, tmp_path / "c.svg", 2)


def test_a_failure_half_way_leaves_the_old_file_as_it_was(fit, tmp_path):
    target = tmp_path / "c.pdf"
    bg.save_chart(bg.polar_chart(fit), target)
    old = target.read_bytes()

    def charts():
        yield bg.polar_chart(fit)
        raise RuntimeError("the power went out")

    with pytest.raises(RuntimeError, match="power"):
        save_charts(charts(), target, 2)
    assert target.read_bytes() == old
    assert list(tmp_path.iterdir()) == [target]


@pytest.mark.parametrize("kind", ["polar", "squareness", "strip"])
@pytest.mark.parametrize("ending", ["pdf", "svg", "png"])
def test_the_command_draws_every_kind_in_every_format(kind, ending, tmp_path, capsys):
    target = tmp_path / f"c.{ending}"
    assert main(["chart", "data_demo/forty_tooth.csv", "-o", str(target), "--kind", kind]) == 0
    assert target.stat().st_size > 5000
    assert capsys.readouterr().out == f"wrote {target}\n"


def test_the_command_draws_the_blades_that_can_be_drawn_and_names_the_other(tmp_path, capsys):
    target = tmp_path / "shelf.pdf"
    argv = ["chart", "data_demo/shelf_readings.csv", "--blades", "data_demo/shelf_blades.csv"]
    assert main([*argv, "-o", str(target)]) == 1
    assert len(pypdf.PdfReader(target).pages) == 5
    assert "blade B-12, row 66" in capsys.readouterr().err


def test_a_chart_of_nothing_leaves_no_file(tmp_path, capsys):
    target = tmp_path / "c.pdf"
    assert main(["chart", str(tmp_path / "none.csv"), "-o", str(target)]) == 2
    assert "there is no file" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_a_blade_without_a_ring_radius_is_drawn_without_a_word(tmp_path):
    blade = bg.Blade(24)
    rng = np.random.default_rng(1)
    read = 0.05 * np.cos(np.radians(blade.angles_deg)) + rng.normal(0, 0.002, 24)
    fit = bg.fit_wobble(bg.Readings(blade, read, unit="mm"))
    bg.save_chart(bg.polar_chart(fit), tmp_path / "c.pdf")
    assert (tmp_path / "c.pdf").stat().st_size > 5000


def test_a_blade_without_angles_stops_no_other_squareness_chart(tmp_path, capsys):
    table, target = tmp_path / "two.csv", tmp_path / "c.pdf"
    rows = [f"A,{k + 1},{0.1 * np.cos(k):.3f},100" for k in range(12)]
    rows += [f"B,{k + 1},{0.1 * np.cos(k):.3f}," for k in range(12)]
    table.write_text("blade,tooth,reading_mm,ring_radius_mm\n" + "\n".join(rows))
    argv = ["chart", str(table), "-o", str(target), "--kind", "squareness", "--teeth", "12"]
    assert main(argv) == 1
    assert len(pypdf.PdfReader(target).pages) == 1
    assert "blade B: the ring radius is not stated" in capsys.readouterr().err
