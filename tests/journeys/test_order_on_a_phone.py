"""A phone decides what comes first as the shop does: one table for both, and sheets at random."""

from datetime import timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from django.contrib.staticfiles import finders
from playwright.sync_api import Browser, Page

from shop.isolation import PROOF_HOLDS, Before, Moment
from tests.shop.test_order import (
    CASES,
    NAMES,
    SEVEN,
    SHEET,
    Case,
    at_random,
    decided,
    moment,
    standing,
)

#: What a phone says comes first in each case, in a page of its own.
DECIDE = """async ([code, cases]) => {
    const module = `data:text/javascript;charset=utf-8,${encodeURIComponent(code)}`;
    const { firstBefore, stillBefore } = await import(module);
    return cases.map(({ steps, wanted, now }) => {
        const found = typeof wanted === "number"
            ? firstBefore(steps, steps.find(({ key }) => key === wanted), now)
            : stillBefore(steps, wanted, now);
        return found.map(({ key }) => key);
    });
}"""


@pytest.fixture
def phone(browser: Browser) -> Any:
    page = browser.new_page()
    yield page
    page.close()


def ms(at: Moment | None) -> dict[str, Any] | None:
    return None if at is None else {"at": at.at.timestamp() * 1000, "turn": at.turn}


def of_step(step: Before) -> dict[str, Any]:
    return {
        "key": step.key,
        "isCaution": step.is_caution,
        "phase": step.phase,
        "proves": sorted(step.proves),
        "forElectrician": step.for_electrician,
        "isDone": step.is_done,
        "at": None if step.at is None else step.at.timestamp() * 1000,
        "turn": step.turn,
        "locked": ms(step.locked),
    }


def on_a_phone(phone: Page, *cases: Case, without: str = "") -> list[list[str]]:
    """What a phone says. without: a piece of its rules that is taken away."""
    code = Path(str(finders.find("shop/phone/locks.js"))).read_text(encoding="utf-8")
    assert without in code
    sent = [
        {
            "steps": [of_step(step) for step in standing(case)],
            "wanted": SHEET[case.wanted].key
            if isinstance(case.wanted, str)
            else {
                "opens": sorted(case.wanted.opens),
                "isRun": case.wanted.is_run,
                "isAfterReturn": case.wanted.is_after_return,
                "forElectrician": case.wanted.for_electrician,
                "isStill": case.wanted.is_still,
            },
            "now": {
                "started": ms(moment(case.started)),
                "locked": ms(moment(case.locked)),
                "at": (SEVEN + timedelta(minutes=case.now)).timestamp() * 1000,
                "holds": PROOF_HOLDS.total_seconds() * 1000,
            },
        }
        for case in cases
    ]
    found = phone.evaluate(DECIDE, [code.replace(without, ""), sent])
    return [[NAMES[key] for key in keys] for keys in found]


def test_phone_and_shop_agree_in_each_case(phone: Page) -> None:
    said = dict(zip((case.said for case in CASES), on_a_phone(phone, *CASES), strict=True))
    assert said == {case.said: case.first for case in CASES}
    # The twins: a phone that takes any lock for one that is on, forgets it on the way back, or
    # takes a proof for one of what was done again since.
    for piece in (
        ' || (step.phase === "lock" && isOld(step, now))',
        " && !isLater(locked, step)",
        " || earlier.some((each) => each.at !== null && isLater(each, step))",
    ):
        assert on_a_phone(phone, *CASES, without=piece) != list(said.values())


def test_phone_and_shop_agree_whatever_was_done(phone: Page) -> None:
    random = Random(147)
    cases = [at_random(random) for _ in range(800)]
    shop = [decided(case) for case in cases]
    assert on_a_phone(phone, *cases) == shop
    assert len({tuple(each) for each in shop}) > 50
