"""Every warning and every likely mistake of a blade is on every output that is made of it.

Blades are invented with faults planted in their readings, the mistakes of the person who reads and
the limits of the dial alike. What an answer warns of must be said by all that people and machines
get of that blade, whatever its words are.
"""

from __future__ import annotations

import csv
import html
import json
import re
from datetime import date

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from simulated import rng_for
from written import run

import bladegeom as bg
from bladegeom.draw.disc import blade_disc
from bladegeom.draw.printed import answer_text, doubt_text, setup_text
from bladegeom.fit.answer import answer_of

DAY = date(2026, 11, 27)
TEETH, RING_MM = 40, 110.0
ANGLE = 2 * np.pi * np.arange(TEETH) / TEETH
LIMITS = bg.Limits((bg.Limit("wobble_tir", (0.3, "mm"), "invented for a test"),))


class Taken:
    """One turn of a tilted plate in mm, as a fine dial shows it, and what is stated of it."""

    def __init__(self, seed, tilt_deg=0.05) -> None:
        rng = rng_for(seed)
        exact = RING_MM * np.tan(np.radians(tilt_deg)) * np.cos(ANGLE - rng.uniform(0, 2 * np.pi))
        self.tooth = np.arange(1, TEETH + 1)
        self.reading = np.round(exact + rng.normal(0, 0.003, TEETH), 3)
        self.noise = rng.normal(0, 0.02, TEETH)
        self.turn = None
        self.facts = {"graduation_mm": 0.002, "ring_radius_mm": RING_MM}

    @property
    def steep(self):
        """Place of a tooth whose reading is large."""
        return int(np.argmax(np.abs(self.reading)))

    def readings(self):
        stated = {name[:-3]: f"{value} mm" for name, value in self.facts.items()}
        sizes = {"diameter": "254 mm", "tooth_width": "3.2 mm"}
        blade = bg.Blade(TEETH, name="X", numbered="clockwise", **sizes)
        return bg.Readings(
            blade, self.reading, unit="mm", tooth=self.tooth, turn=self.turn, **stated
        )

    def save(self, path):
        head = ["blade", "tooth", "reading_mm", "teeth", "diameter_mm", "tooth_width_mm"]
        head.append("numbered")
        with path.open("w", newline="") as file:
            out = csv.writer(file)
            out.writerow([*head, "turn", *self.facts])
            turns = np.ones_like(self.tooth) if self.turn is None else self.turn
            for tooth, one, turn in zip(self.tooth, self.reading, turns, strict=True):
                cells = ["X", tooth, round(one, 4), TEETH, 254, 3.2, "clockwise", turn]
                out.writerow([*cells, *self.facts.values()])
        return path


def lost_minus(taken):
    taken.reading[taken.steep] *= -1


def dial_passed_zero(taken):
    taken.reading[(taken.steep + 13) % TEETH] += 1.0


def skipped_tooth(taken):
    taken.reading = np.append(taken.reading[:15], np.roll(taken.reading[15:], -1))


def bumped_base(taken):
    taken.reading[23:] += 0.06


def bent_plate(taken):
    taken.reading += np.round(0.08 * np.cos(2 * ANGLE), 3)


def bent_tooth(taken):
    """Two turns, one tooth of which stands off in both."""
    again = taken.reading + np.round(taken.noise / 8, 3)
    taken.reading, taken.tooth = np.append(taken.reading, again), np.tile(taken.tooth, 2)
    taken.reading[taken.tooth == 17] += 0.2
    taken.turn = np.repeat([1, 2], TEETH)


def coarse_dial(taken):
    taken.reading = np.round((0.02 * taken.reading + taken.noise) / 0.02) * 0.02
    taken.facts["graduation_mm"] = 0.02


def stuck_dial(taken):
    taken.reading[:] = 0.0
    taken.facts.pop("graduation_mm", None)


def odd_unit(taken):
    """As if thousandths of an inch had been taken for millimetres."""
    taken.reading *= 39.4
    taken.facts.pop("graduation_mm", None)


def no_ring(taken):
    taken.facts.pop("ring_radius_mm", None)


def crept_stand(taken):
    """The closing reading tells that the stand crept all along."""
    taken.reading = np.append(taken.reading, taken.reading[0])
    taken.reading += 0.08 * np.arange(TEETH + 1) / TEETH
    taken.tooth = np.append(taken.tooth, 1)


def unread(first, last):
    def leave_out(taken):
        kept = (taken.tooth < first) | (taken.tooth > last)
        taken.tooth, taken.reading = taken.tooth[kept], taken.reading[kept]

    return leave_out


MOST_UNREAD, SOME_UNREAD = unread(8, 34), unread(12, 21)
FAULTS = (
    *(lost_minus, dial_passed_zero, skipped_tooth, bumped_base, bent_plate),
    *(coarse_dial, stuck_dial, odd_unit, no_ring, crept_stand, MOST_UNREAD, SOME_UNREAD),
)
"""In the order in which they can befall one blade."""

ON_EVERYTHING = {
    "lost minus": [lost_minus],
    "two mistakes": [lost_minus, dial_passed_zero],
    "skipped tooth": [skipped_tooth],
    "bumped base": [bumped_base],
    "bent tooth": [bent_tooth],
    "unread arc": [MOST_UNREAD],
    "crept stand": [crept_stand],
    "coarse dial": [coarse_dial],
    "stuck dial": [stuck_dial],
    "odd unit": [odd_unit],
    "bent, some unread": [bent_plate, SOME_UNREAD],
    "all at once": [lost_minus, bumped_base, no_ring, crept_stand, SOME_UNREAD],
}


def of_page(axes):
    """All words of a page or several, in the order in which they are written."""
    pages = axes if isinstance(axes, list) else [axes]
    said = []
    for ax in pages:
        said += [text.get_text() for text in ax.figure.texts]
        said += [text.get_text() for one in ax.figure.axes for text in one.texts]
    return " ".join(said)


def in_notebook(result):
    """What a notebook shows of a result."""
    return html.unescape(result._repr_html_())


def told_by(fit):
    """What is made of a blade's fit in Python: name -> its words."""
    following, condition = bg.next_readings(fit, 2), bg.assess(fit, LIMITS)
    held = {
        "fit, text": answer_text(answer_of(fit)),
        "fit, result": str(fit),
        "fit, dict": bg.blade_answer(fit)["warnings"],
        "fit, notebook": in_notebook(fit),
        "marks": str(bg.neutral_line(fit)),
        "marks, notebook": in_notebook(bg.neutral_line(fit)),
        "doubt": doubt_text(fit),
        "next": str(following),
        "next, dict": following.to_dict()["warnings"],
        "condition": str(condition),
        "condition, dict": condition.to_dict()["warnings"],
        "condition, notebook": in_notebook(condition),
    }
    if fit.readings.ring_radius is None:
        return held
    rest = {
        "squareness": bg.squareness(fit, away_deg=30),
        "kerf": bg.kerf(fit),
        "setting": bg.setting_error(fit, "table", away_deg=30),
        "wall": wall_of(fit),
    }
    held |= {name: str(one) for name, one in rest.items()}
    return held | {f"{name}, dict": one.to_dict()["warnings"] for name, one in rest.items()}


def wall_of(fit):
    return bg.cut_wall(fit, side_angle_deg=2.0, feed_per_turn="1 mm", height="20 mm")


def drawn_of(fit):
    """Every page that shows a blade's fit: name -> its words."""
    condition = bg.assess(fit, LIMITS)
    held = {
        "polar chart": of_page(bg.polar_chart(fit, date=DAY)),
        "strip chart": of_page(bg.strip_chart(fit, date=DAY)),
        "sheet": of_page(bg.customer_sheet(fit, condition, date=DAY)),
        "sheet, no limits": of_page(bg.customer_sheet(fit, date=DAY)),
        "disc": of_page(blade_disc(fit, bore="20 mm", date=DAY)),
    }
    if fit.readings.ring_radius is None:
        return held
    return held | {
        "squareness chart": of_page(bg.squareness_chart(fit, date=DAY)),
        "wall chart": of_page(bg.cut_wall_chart(wall_of(fit), date=DAY)),
    }


def made_of(path, tmp_path):
    """What is made of a blade's file, alone and among others: name -> its words."""
    out, limits, saw = (tmp_path / name for name in ("out.csv", "limits.toml", "saw.toml"))
    assert run("table", path, "-o", out).status == 0
    row = next(csv.DictReader(out.read_text("utf-8-sig").splitlines()))
    limit = 'quantity = "wobble_tir"\nvalue = "0.3 mm"\nsource = "invented"\n'
    limits.write_text(f"[[limit]]\n{limit}", "utf-8")
    bg.run_batch([path], bg.read_limits(limits), tmp_path / "batch", date=DAY)
    queue = json.loads((tmp_path / "batch" / "queue.json").read_text("utf-8"))["blades"][0]
    shelf = bg.shelf(path.parent)
    held = {
        "fit, command": run("fit", path).out,
        "fit, JSON": run("fit", path, "--json").json["blades"][0]["warnings"],
        "doubt, JSON": run("doubt", path, "--json").json["blades"][0]["warnings"],
        "next, command": run("next", path).out,
        "table": row["warnings"],
        "queue": queue["warnings"],
        "shelf": str(shelf),
        "shelf, notebook": in_notebook(shelf),
        "shelf, row": shelf.rows[0].to_dict()["warnings"],
        "shelf, frame": shelf.to_frame()["warnings"][0],
        "shelf, page": of_page(bg.shelf_page(shelf, date=DAY)),
    }
    if not row["tilt_deg"]:
        return held
    saw.write_text(f'[blade]\nreadings = "{path.relative_to(tmp_path)}"\n', "utf-8")
    setup = bg.set_up(saw)
    return held | {
        "set-up": setup_text(setup),
        "set-up, result": str(setup),
        "set-up, dict": setup.to_dict()["warnings"],
        "set-up, card": of_page(bg.setup_card(setup)),
    }


def plain(said):
    """Words without case, line breaks and stops, which a page or a list may put otherwise."""
    return re.sub(r"[\W_]+", " ", said if isinstance(said, str) else " ".join(said)).casefold()


def left_out(fit, held):
    """What a blade is warned of, and the outputs that do not say it."""
    mistakes = fit.findings.found
    told = [one.words for one in mistakes] + [one.again for one in mistakes[:1]] + [*fit.warnings]
    told += [fit.at_stake] if mistakes else []
    return [
        f"{name} lacks: {words}"
        for name, said in held.items()
        for words in told
        if plain(words) not in plain(said)
    ]


@pytest.mark.parametrize("planted", ON_EVERYTHING.values(), ids=ON_EVERYTHING)
def test_what_is_warned_of_is_on_every_output(tmp_path, planted):
    taken = Taken(3)
    for plant in planted:
        plant(taken)
    (tmp_path / "blades").mkdir()
    path = taken.save(tmp_path / "blades" / "blade.csv")
    fit = bg.fit_wobble(bg.read_blade(path))
    assert fit.said
    assert not left_out(fit, told_by(fit) | drawn_of(fit) | made_of(path, tmp_path))


@settings(deadline=None, derandomize=True, max_examples=60)
@given(
    seed=st.integers(0, 2**16),
    tilt_deg=st.sampled_from([0.0, 0.02, 0.1]),
    planted=st.sets(st.sampled_from(range(len(FAULTS))), max_size=5),
)
def test_whatever_befell_the_readings_is_said_of_all_that_rests_on_them(seed, tilt_deg, planted):
    taken = Taken(seed, tilt_deg)
    for place in sorted(planted):
        FAULTS[place](taken)
    try:
        fit = bg.fit_wobble(taken.readings())
    except bg.RefusedError:
        assume(False)
    assert not left_out(fit, told_by(fit))
