"""A phone reckons minutes at work as the shop does: one table for both, and taps made at random."""

from datetime import datetime
from pathlib import Path
from random import Random
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from playwright.sync_api import Browser, Page

from shop.worktime import Tap, stretches, worked
from tests.shop.test_worktime import ANN, CASES, GUN, MINUTE, PUMP, START, ZONE, tap, tapped

#: What a phone makes of each list of taps, in a page of its own.
RECKON = """async ([code, cases]) => {
    const module = `data:text/javascript;charset=utf-8,${encodeURIComponent(code)}`;
    const { minutesOf } = await import(module);
    return cases.map(({ taps, ...given }) => minutesOf(taps, given));
}"""


@pytest.fixture
def phone(browser: Browser) -> Any:
    # Far from the shop: its days are the shop's all the same.
    page = browser.new_page(timezone_id="Pacific/Auckland")
    yield page
    page.close()


def reckoned(
    phone: Page, *cases: tuple[list[Tap], datetime, dict[int, datetime]], without: str = ""
) -> list[int]:
    """What a phone says. without: a piece of its rules that is taken away."""
    code = Path(str(finders.find("shop/phone/worktime.js"))).read_text(encoding="utf-8")
    assert without in code

    def ms(at: datetime) -> float:
        return at.timestamp() * 1000

    sent = [
        {
            "sheet": PUMP,
            "now": ms(now),
            "zone": str(ZONE),
            "closed": {str(sheet): ms(at) for sheet, at in closed.items()},
            "taps": [
                {
                    "sheet": each.sheet,
                    "starts": each.starts,
                    "at": ms(each.at),
                    "isSure": each.is_sure,
                }
                for each in taps
            ],
        }
        for taps, now, closed in cases
    ]
    found: list[int] = phone.evaluate(RECKON, [code.replace(without, ""), sent])
    return found


def test_phone_and_shop_agree_in_each_case(phone: Page) -> None:
    cases = [
        (
            tapped(case),
            START + case.now * MINUTE,
            {sheet: START + at * MINUTE for sheet, at in case.closed.items()},
        )
        for case in CASES
    ]
    said = dict(zip((case.said for case in CASES), reckoned(phone, *cases), strict=True))
    assert said == {case.said: case.minutes for case in CASES}
    # The twin: a phone that believes any night.
    twin = reckoned(phone, *cases, without=" && (each.isSure || !isTooLong(each.start, each.end))")
    assert twin != list(said.values())


def test_phone_and_shop_agree_whatever_is_tapped(phone: Page) -> None:
    random = Random(412)
    cases = []
    for _ in range(500):
        taps = [
            tap(
                ANN,
                random.choice([PUMP, GUN]),
                random.choice(["start", "start", "stop", "sure"]),
                random.randrange(0, 3 * 24 * 60, 5),
                order=order,
            )
            for order in range(random.randrange(12))
        ]
        closed = {
            sheet: START + random.randrange(3 * 24 * 60) * MINUTE
            for sheet in (PUMP, GUN)
            if random.random() < 0.2
        }
        cases.append((taps, START + 3 * 24 * 60 * MINUTE, closed))
    shop = [
        sum(
            each.minutes
            for each in worked(
                stretches(taps, closed=closed, zone=ZONE), sheet=PUMP, now=now, zone=ZONE
            ).values()
        )
        for taps, now, closed in cases
    ]
    assert reckoned(phone, *cases) == shop
    assert len(set(shop)) > 50
