"""Every warning and every likely mistake of a blade is on every output that is made of it.

Blades are invented with faults planted in their readings, the mistakes of the person who reads and
the limits of the dial alike. What an answer warns of must be said by all that people and machines
get of that blade, whatever its words are.
"""

from __future__ import annotations

import csv
import json
import re
from datetime import date

import numpy as np
import pytest
from simulated import rng_for
from written import run

import bladegeom as bg
from bladegeom.draw.printed import answer_text, doubt_text, setup_text
from bladegeom.fit.answer import answer_of

DAY = date(2026, 11, 27)
TEETH, RING = 40, (110.0, "mm")
LIMITS = bg.Limits((bg.Limit("wobble_tir", (0.3, "mm"), "invented for a test"),))


def read(seed, *, tilt=0.05, noise=0.003, step=0.002, teeth=TEETH):
    """One turn of a tilted plate in mm, as a dial of so fine a step shows it."""
    rng = rng_for(seed)
    near = rng.uniform(0, 2 * np.pi)
    angle = 2 * np.pi * np.arange(teeth) / teeth
    exact = RING[0] * np.tan(np.radians(tilt)) * np.cos(angle - near)
    return np.round((exact + rng.normal(0, noise, teeth)) / step) * step


def steep(reading):
    """A tooth whose reading is large, by place."""
    return int(np.argmax(np.abs(reading)))


def lost_minus(seed):
    reading = read(seed)
    reading[steep(reading)] *= -1
    return table(reading)


def two_mistakes(seed):
    reading = read(seed)
    at = steep(reading)
    reading[at] *= -1
    reading[(at + 13) % TEETH] += 1.0
    return table(reading)


def skipped_tooth(seed):
    reading = read(seed)
    return table(np.append(reading[:15], np.append(reading[16:], reading[0])))


def bumped_base(seed):
    reading = read(seed)
    reading[23:] += 0.06
    return table(reading)


def unread_arc(seed):
    reading = read(seed)
    return [row for row in table(reading) if not 8 <= row["tooth"] <= 34]


def moved_stand(seed):
    """The closing reading tells that the stand crept all along."""
    reading = read(seed) + 0.08 * np.arange(TEETH) / TEETH
    return [*table(reading), {"tooth": 1, "reading": reading[0] + 0.08}]


def coarse_dial(seed):
    return table(read(seed, tilt=0.005, noise=0.02, step=0.02), graduation=0.02)


def flat(_):
    return table(np.zeros(TEETH), graduation=None)


def odd_unit(seed):
    """As if thousandths of an inch had been taken for millimetres; and no graduation."""
    return table(39.4 * read(seed), graduation=None)


def no_ring(seed):
    return table(read(seed, tilt=0.0), ring=None)


def bent_and_unread(seed):
    angle = 2 * np.pi * np.arange(TEETH) / TEETH
    reading = np.round(read(seed) + 0.08 * np.cos(2 * angle), 3)
    return [row for row in table(reading) if not 12 <= row["tooth"] <= 21]


def all_at_once(seed):
    reading = read(seed) + 0.1 * np.arange(TEETH) / TEETH
    reading[steep(reading)] *= -1
    rows = [row for row in table(reading, ring=None) if not 8 <= row["tooth"] <= 22]
    return [*rows, {"tooth": 1, "reading": rows[0]["reading"] + 0.1}]


FAULTS = (
    lost_minus,
    two_mistakes,
    skipped_tooth,
    bumped_base,
    unread_arc,
    moved_stand,
    coarse_dial,
    flat,
    odd_unit,
    no_ring,
    bent_and_unread,
    all_at_once,
)


def table(reading, graduation=0.002, ring=RING[0]):
    facts = {"graduation_mm": graduation, "ring_radius_mm": ring}
    stated = {name: value for name, value in facts.items() if value is not None}
    return [
        {"tooth": tooth, "reading": float(one)} | stated for tooth, one in enumerate(reading, 1)
    ]


def save(rows, path):
    stated = [name for name in ("graduation_mm", "ring_radius_mm") if name in rows[0]]
    head = ["blade", "tooth", "reading_mm", "teeth", "diameter_mm", "tooth_width_mm", *stated]
    with path.open("w", newline="") as file:
        out = csv.writer(file)
        out.writerow(head)
        for row in rows:
            own = [rows[0][name] for name in stated]
            out.writerow(["X", row["tooth"], round(row["reading"], 4), TEETH, 254, 3.2, *own])
    return path


def of_page(axes):
    """All words of a page or several, in the order in which they are written."""
    pages = axes if isinstance(axes, list) else [axes]
    said = []
    for ax in pages:
        said += [text.get_text() for text in ax.figure.texts]
        said += [text.get_text() for one in ax.figure.axes for text in one.texts]
    return " ".join(said)


def of_json(value):
    return " ".join(map(of_json, value)) if isinstance(value, list) else str(value)


def outputs(path, tmp_path):
    """Every output of a blade's answer: name -> its words,"""
    fit = bg.fit_wobble(bg.read_blade(path))
    answer = bg.blade_answer(fit)
    saw = tmp_path / "saw.toml"
    saw.write_text(f'[blade]\nreadings = "{path.name}"\n', "utf-8")
    limits = tmp_path / "limits.toml"
    limits.write_text(
        '[[limit]]\nquantity = "wobble_tir"\nvalue = "0.3 mm"\nsource = "invented"\n', "utf-8"
    )
    condition = bg.assess(fit, LIMITS)
    shelf = bg.shelf(tmp_path / "blades")
    out = tmp_path / "out.csv"
    assert run("table", path, "-o", out).status == 0
    row = next(csv.DictReader(out.read_text("utf-8-sig").splitlines()))
    batch = bg.run_batch([path], bg.read_limits(limits), tmp_path / "batch", date=DAY)
    queue = json.loads((tmp_path / "batch" / "queue.json").read_text("utf-8"))["blades"][0]
    following = bg.next_readings(fit, 2)
    held = {
        "fit, text": answer_text(answer_of(fit)),
        "fit, result": str(fit),
        "fit, command": run("fit", path).out,
        "fit, JSON": of_json(json.loads(run("fit", path, "--json").out)["blades"][0]["warnings"]),
        "doubt, text": doubt_text(fit),
        "doubt, JSON": run("doubt", path, "--json").out,
        "next, text": str(following),
        "next, JSON": of_json(following.to_dict()["warnings"]),
        "next, command": run("next", path).out,
        "condition, text": str(condition),
        "condition, dict": of_json(condition.to_dict()["warnings"]),
        "table": row["warnings"],
        "queue": of_json(queue["warnings"]),
        "batch": of_json(batch.rows[0]["warnings"]),
        "shelf, text": str(shelf),
        "shelf, row": of_json(shelf.rows[0].to_dict()["warnings"]),
        "shelf, frame": shelf.to_frame()["warnings"][0],
        "shelf, page": of_page(bg.shelf_page(shelf, date=DAY)),
        "polar chart": of_page(bg.polar_chart(fit, date=DAY)),
        "strip chart": of_page(bg.strip_chart(fit, date=DAY)),
        "sheet": of_page(bg.customer_sheet(fit, condition, date=DAY)),
        "sheet, no limits": of_page(bg.customer_sheet(fit, date=DAY)),
    }
    if fit.readings.ring_radius is not None:
        setup = bg.set_up(saw)
        square = bg.squareness(fit, away_deg=30)
        kerf = bg.kerf(fit)
        setting = bg.setting_error(fit, "table", away_deg=30)
        wall = bg.cut_wall(fit, side_angle_deg=2.0, feed_per_turn="1 mm", height="20 mm")
        held |= {
            "set-up, text": setup_text(setup),
            "set-up, result": str(setup),
            "set-up, JSON": of_json(setup.to_dict()["warnings"]),
            "set-up, card": of_page(bg.setup_card(setup)),
            "squareness, text": str(square),
            "squareness, JSON": of_json(square.to_dict()["warnings"]),
            "squareness chart": of_page(bg.squareness_chart(fit, date=DAY)),
            "kerf, text": str(kerf),
            "kerf, JSON": of_json(kerf.to_dict()["warnings"]),
            "wall, text": str(wall),
            "wall, JSON": of_json(wall.to_dict()["warnings"]),
            "wall chart": of_page(bg.wall_chart(wall, date=DAY)),
            "setting, text": str(setting),
            "setting, JSON": of_json(setting.to_dict()["warnings"]),
        }
    return answer, held


def plain(words):
    """Words without case, line breaks and stops, which a page or a list may put otherwise."""
    return re.sub(r"[\W_]+", " ", words).casefold()


@pytest.mark.parametrize("planted", FAULTS, ids=lambda one: one.__name__)
def test_what_is_warned_of_is_on_every_output(tmp_path, planted):
    (tmp_path / "blades").mkdir()
    path = save(planted(3), tmp_path / "blade.csv")
    (tmp_path / "blades" / "blade.csv").write_bytes(path.read_bytes())
    answer, held = outputs(path, tmp_path)
    mistakes = answer["mistakes"]
    told = [one["words"] for one in mistakes] + [one["again"] for one in mistakes[:1]]
    # The first lines are about the mistakes, and an output may tell those in words of its own.
    told += answer["warnings"][len(mistakes) :]
    assert told
    missing = [
        (name, words)
        for name, said in held.items()
        for words in told
        if plain(words) not in plain(said)
    ]
    assert not missing, "\n".join(f"{name} lacks: {words}" for name, words in missing)
