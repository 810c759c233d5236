"""A phone whose signal goes and comes, with a page of ours open on it."""

import re
from typing import Final

from playwright.sync_api import BrowserContext, Page, Route, expect

from shop.models import ServiceSheet, StepEntry
from tests.journeys.acting import make_safe

#: Where the entries of any sheet are sent to.
SHEET_ENTRIES: Final = "**/entries/"


class Phone:
    """A phone at a page that keeps entries and sends them.

    address: of that page. entries: where they are sent to, as a pattern.
    """

    def __init__(self, page: Page, *, address: str, entries: str) -> None:
        self.page, self.address, self.entries = page, address, entries

    @property
    def context(self) -> BrowserContext:
        return self.page.context

    def open(self, part: str = "") -> None:
        """All that lived in the page's memory is gone, as when the browser was closed. In the same
        tab and process: one begun now would be online for a moment, before the browser hears that
        there is no signal."""
        # Else another part of the open page is no new page; left by the page itself, since the
        # browser would begin another process.
        with self.page.expect_navigation(url="about:blank"):
            self.page.evaluate("location.replace('about:blank')")
        self.page.goto(f"{self.address}{part}")
        expect(self.page.locator("body.has-script")).to_be_visible()

    def is_ready_to_leave(self) -> None:
        """The page is on the phone, with what it needs."""
        expect(self.page.locator("body[data-carried]")).to_be_visible()

    def loses_signal(self) -> None:
        """A page that is opened now is online for a moment before it hears that there is no
        signal: nothing is sent in that moment either."""
        self.context.set_offline(True)
        self.context.route(self.entries, self._no_signal)

    @staticmethod
    def _no_signal(route: Route) -> None:
        route.abort()

    def is_in_reach(self) -> None:
        """There is signal, and no page has heard of it yet."""
        self.context.unroute(self.entries, self._no_signal)
        self.context.set_offline(False)

    def has_signal_again(self) -> None:
        self.is_in_reach()
        self.page.evaluate("dispatchEvent(new Event('online'))")

    def loses_two_answers(self) -> list[str]:
        """The shop takes each batch, and its answer does not come back: twice.

        Gives what was sent those times, which is filled as it is.
        """
        lost: list[str] = []

        def takes_and_is_silent(route: Route) -> None:
            if len(lost) < 2:
                lost.append(route.request.post_data or "")
                route.fetch()
                route.abort()
            else:
                route.continue_()

        self.context.route(self.entries, takes_and_is_silent)
        return lost

    def says(self, words: str | re.Pattern[str]) -> None:
        expect(self.page.locator("#sending")).to_contain_text(words)

    def sent_all(self) -> None:
        self.says("All sent")


class SheetPhone(Phone):
    """A technician's phone with a sheet open on it."""

    def __init__(self, page: Page, sheet: ServiceSheet) -> None:
        super().__init__(page, address=f"/sheets/{sheet.number}/work/", entries=SHEET_ENTRIES)
        self.sheet = sheet

    def makes_the_rig_safe(self) -> None:
        make_safe(self.page)

    def draws_a_signature(self) -> None:
        """With a finger, in the box on the page."""
        drawn = self.page.locator("#drawn")
        drawn.scroll_into_view_if_needed()
        box = drawn.bounding_box()
        assert box is not None
        self.page.mouse.move(box["x"] + 40, box["y"] + 60)
        self.page.mouse.down()
        self.page.mouse.move(box["x"] + 140, box["y"] + 30, steps=8)
        self.page.mouse.up()


def entries(sheet: ServiceSheet) -> int:
    """How many answers of a sheet the shop has."""
    return StepEntry.objects.filter(step__sheet=sheet).count()
