"""What ends a printed sheet, read back."""

import re
from dataclasses import replace

import pytest

from shop.paper.signature import SETTLED, WAITS
from tests.shop.paper.reading import read, rules, text
from tests.shop.paper.samples import (
    signed_sheet,
)


def test_a_drawn_signature_is_printed_as_lines_inside_its_cell() -> None:
    # The box of a phone: 1000 by 300, y down.
    drawn = "M 20 150 L 300 40 L 980 290 M 400 10 L 500 280"
    given = replace(signed_sheet(), drawn=drawn)
    reader = read(given)
    content = reader.pages[-1].get_contents()
    assert content is not None
    data = content.get_data()
    assert b"20 150 m" in data
    assert b"500 280 l" in data
    # It lies where the transform puts it: right of the time worked, above the foot, small enough.
    at = re.search(rb"([\d.]+) 0 0 -([\d.]+) ([\d.]+) ([\d.]+) cm[^c]*?20 150 m", data)
    assert at is not None
    scale, _, x, y = map(float, at.groups())
    assert 960 * scale <= 150.1
    assert 280 * scale <= 34.1
    assert 612 * 0.4 <= x + 20 * scale <= x + 980 * scale <= 612 - 36
    assert y - 290 * scale >= 36 + 18
    assert data.count(b" m") > read(signed_sheet()).pages[-1].get_contents().get_data().count(b" m")
    assert not any(page.images for page in reader.pages)


def test_what_waits_for_a_manager_stands_above_the_signature() -> None:
    given = replace(signed_sheet(), waits=("Generator hours contradict 1,190.", "2 seals short."))
    found = text(read(given))
    assert f"{WAITS} Generator hours contradict 1,190. 2 seals short. Started" in found
    assert WAITS not in text(read(signed_sheet()))


def test_what_waits_stands_clear_of_the_readings_above_it() -> None:
    given = replace(signed_sheet(), waits=("Generator hours contradict 1,190.",), counters_note="")
    page = read(given).pages[-1]
    content = page.get_contents()
    assert content is not None
    (frame,) = re.findall(rb"2\.5 w\nn ([\d.]+) ([\d.]+) ([\d.]+) ([\d.]+) re", content.get_data())
    _, bottom, _, height = map(float, frame)
    above = min(y for y, length in rules(page) if y > bottom + height / 2 and length > 100)
    assert above - (bottom + height) >= 5


def test_what_was_settled_before_the_signature_stands_above_what_waits() -> None:
    settled = ("Volts: 300 V (J. Doe). Set aside by A. Boss: read twice", "Found work: leak.")
    given = replace(signed_sheet(), settled=settled, waits=("2 seals short.",))
    found = text(read(given))
    assert f"{SETTLED} {' '.join(settled)} {WAITS} 2 seals short. Started" in found
    alone = text(read(replace(given, waits=())))
    assert f"{SETTLED} {' '.join(settled)} Started" in alone
    assert SETTLED not in text(read(signed_sheet()))


@pytest.mark.parametrize("count", [1, 40, 90])
def test_much_that_was_settled_goes_on_over_the_next_page(count: int) -> None:
    settled = tuple(f"Volts: {n + 300} V (J. Doe). Set aside by A. Boss." for n in range(count))
    found = text(read(replace(signed_sheet(), settled=settled, waits=settled)))
    assert all(found.count(f"Volts: {n + 300} V") == 2 for n in range(count))
