"""A page is the same whatever a user's settings of Matplotlib, and from however many threads."""

from __future__ import annotations

import logging
import os
import pickle
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from datetime import date

import matplotlib
import pytest
from matplotlib import rc_context
from matplotlib.figure import Figure
from written import SURROUNDINGS, run

import bladegeom as bg
from bladegeom.draw._style import own_style, standard_fonts

DAY = date(2026, 2, 3)
TASTE = {
    "savefig.bbox": "tight",
    "savefig.facecolor": "black",
    "savefig.transparent": True,
    "figure.facecolor": "black",
    "figure.constrained_layout.use": True,
    "axes.facecolor": "black",
    "axes.edgecolor": "white",
    "axes.grid": True,
    "axes.unicode_minus": False,
    "axes.spines.top": False,
    "font.size": 30,
    "font.family": "serif",
    "lines.linewidth": 9,
    "lines.marker": "x",
    "path.sketch": (1, 100, 2),
    "pdf.compression": 0,
    "text.color": "red",
    "xtick.direction": "in",
    "ytick.color": "red",
}


def blade():
    return bg.read_blade("data_demo/forty_tooth.csv")


def pages():
    """Return what draws each page."""
    fit = bg.fit_wobble(blade())
    sized = bg.Blade(40, diameter="254 mm", tooth_width="3 mm", plate="2.2 mm")
    return {
        "polar": lambda: bg.polar_chart(fit, date=DAY),
        "strip": lambda: bg.strip_chart(fit, date=DAY),
        "squareness": lambda: bg.squareness_chart(fit, date=DAY),
        "clearance": lambda: bg.clearance_chart(sized, date=DAY),
        "customer": lambda: bg.customer_sheet(fit, date=DAY),
        "sheet": lambda: bg.reading_sheet(40),
        "card": lambda: bg.setup_card(bg.set_up("data_demo/shed_saw.toml")),
    }


def saved(draw, path):
    bg.save_chart(draw(), path)
    return path.read_bytes()


@pytest.mark.parametrize("name", pages())
@pytest.mark.parametrize("ending", ["pdf", "png"])
def test_the_settings_of_a_user_change_no_page(name, ending, tmp_path):
    draw = pages()[name]
    plain = saved(draw, tmp_path / f"plain.{ending}")
    with rc_context(TASTE):
        before = dict(matplotlib.rcParams)
        assert saved(draw, tmp_path / f"taste.{ending}") == plain
        assert dict(matplotlib.rcParams) == before


def test_axes_that_are_given_keep_the_users_style():
    with rc_context({"axes.facecolor": "black"}):
        ax = Figure().add_subplot()
        bg.squareness_chart(bg.fit_wobble(blade()), ax)
    assert ax.get_facecolor() == (0, 0, 0, 1)


def test_threads_draw_the_same_as_one_and_leave_all_as_it_was(tmp_path):
    draws = pages()
    alone = {name: saved(draw, tmp_path / f"{name}.pdf") for name, draw in draws.items()}
    before, said = dict(matplotlib.rcParams), logging.getLogger("matplotlib.font_manager")
    level = said.level

    def again(place):
        name = list(draws)[place % len(draws)]
        path = tmp_path / f"{place}.pdf"
        if place % 3:
            return saved(draws[name], path) == alone[name]
        with standard_fonts():
            return saved(draws[name], path) != alone[name]

    with ThreadPoolExecutor(8) as many:
        assert all(many.map(again, range(3 * len(draws))))
    assert dict(matplotlib.rcParams) == before
    assert said.level == level


def test_the_style_is_left_where_drawing_fails():
    before = dict(matplotlib.rcParams)
    with pytest.raises(bg.RefusedError):
        bg.polar_chart(bg.fit_wobble(blade()), paper="a3")
    with pytest.raises(ZeroDivisionError), standard_fonts(), own_style():
        raise ZeroDivisionError
    assert dict(matplotlib.rcParams) == before


def test_no_chart_makes_no_file(tmp_path):
    with pytest.raises(bg.RefusedError, match="no chart"):
        bg.save_chart([], tmp_path / "none.pdf")
    assert not list(tmp_path.iterdir())


def test_what_is_refused_can_be_sent_to_another_process():
    with pytest.raises(bg.RefusedError) as refused:
        bg.Blade(1, diameter="254")
    again = pickle.loads(pickle.dumps(refused.value))
    assert again.faults == refused.value.faults
    assert str(again) == str(refused.value)


@pytest.mark.parametrize(
    "words",
    [
        ["fit", "data_demo/forty_tooth.csv", "--json", "--no-such-option"],
        ["fit", "--json"],
        ["fit", "data_demo/forty_tooth.csv", "--json", "--ring-radius", "100"],
    ],
)
def test_wrong_options_are_told_in_json_where_it_is_wanted(words):
    ran = run(*words)
    assert ran.status == 2
    assert ran.json["blades"] == []
    assert ran.json["refused"][0]["problem"] in ran.err


def test_nothing_but_the_answer_is_printed_where_standard_error_is_closed():
    words = [sys.executable, "-m", "bladegeom", "fit", "data_demo/no_such_file.csv", "--json"]
    closed = subprocess.run(
        ["sh", "-c", 'exec "$@" 2>&-', "sh", *words],
        stdout=subprocess.PIPE,
        env={**os.environ, **SURROUNDINGS},
        timeout=600,
        check=False,
    )
    assert closed.returncode == 2
    assert closed.stdout.count(b"\n") == 1
    assert b"no_such_file" in closed.stdout
