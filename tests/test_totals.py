"""A day's totals by customer and by action."""

from bladegeom.shop.batch import REFUSED
from bladegeom.shop.condition import AGAIN, FIT, RETIRE
from bladegeom.shop.totals import NOBODY, totals

ROWS = [
    *({"customer": "Nightjar Mill", "action": one} for one in (FIT, FIT, AGAIN, REFUSED)),
    *({"customer": "alder joinery", "action": one} for one in (FIT, RETIRE)),
    {"customer": "", "action": FIT},
    {"customer": None, "action": AGAIN},
]


def test_blades_are_counted_by_customer_and_by_action_the_most_urgent_first():
    found = totals(ROWS)
    assert found.actions == (REFUSED, RETIRE, AGAIN, FIT)
    assert found.customers == ("alder joinery", "Nightjar Mill", "")
    assert [found.of(None, one) for one in found.actions] == [1, 1, 2, 4]
    assert [found.of(one) for one in found.customers] == [2, 4, 2]
    assert found.of("Nightjar Mill", FIT) == 2
    assert found.of("alder joinery", AGAIN) == 0
    assert found.of() == len(ROWS)


def test_the_text_tells_both_and_no_customers_where_none_is_stated():
    lines = totals(ROWS).text().splitlines()
    assert len(lines) == 4 + 3
    assert lines[-1].split()[0] == "2"
    assert NOBODY in lines[-1]
    assert "alder joinery" in lines[4]
    assert "1 fit" in lines[4]
    alone = totals({"action": one} for one in (FIT, FIT, AGAIN)).text()
    assert len(alone.splitlines()) == 2
    assert NOBODY not in alone


def test_a_long_line_is_broken_and_nothing_is_lost():
    many = [{"customer": "A" * 60, "action": one} for one in totals(ROWS).actions]
    assert max(map(len, totals(many).text().splitlines())) <= 100
    assert " ".join(totals(many).text().split()).count("1 ") == 8
