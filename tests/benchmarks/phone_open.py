"""phone-open: a service sheet opened cold on a phone, beside an empty page of the same server.

What is timed is what a person waits for: from the tap on the link until the first control on the
page, tapped, has answered. Each round is a phone that was never here: no cache, no open connection.

The phone: a processor 4 times slower than this machine's (`Emulation.setCPUThrottlingRate`) and
slow 4G (`Network.emulateNetworkConditions`): 1.6 Mbit/s down, 750 kbit/s up, 150 ms there and back.
These figures, and the factors by which the browser's own throttle comes near them (3.75 for the
wait of each request, 0.9 for the throughput), are those of `throttling.mobileSlow4G` in
core/config/constants.js of github.com/GoogleChrome/lighthouse, 7ac9485; the browser's developer
tools call it "Slow 4G".
"""

import os
import shutil
import statistics
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final
from uuid import uuid4

from django.conf import settings
from django.db import connection
from django.utils import timezone
from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from equipment.models import Check, Due
from shop.models import Person, ServiceSheet, Shop
from shop.services.drafting import draft_sheet
from tests.benchmarks import worlds
from tests.benchmarks.database import Databases
from tests.benchmarks.list_page import server
from tests.benchmarks.measure import Options, Result, WrongAnswer, must, say
from tests.depth import IN_CI
from tests.journeys.conftest import FLAGS, PHONE, SCREENS

NAME: Final = "phone-open"
GOAL: Final = 2.0
GOAL_BYTES: Final = 200_000
#: Checks on the sheet.
SIZES: Final = (40, 80)
#: One in so many rounds of the others: a round lasts seconds.
SHARE_OF_ROUNDS: Final = 4
EMPTY: Final = "/bare/empty/"
#: The control that is tapped, the first of these in the page that can be seen.
CONTROLS: Final = "main li button, main input[type=checkbox]"

SLOWER_PROCESSOR: Final = 4
_RTT_MS, _DOWN_KBIT, _UP_KBIT = 150, 1.6 * 1024, 750
SLOW_4G: Final = {
    "offline": False,
    "latency": _RTT_MS * 3.75,
    "downloadThroughput": _DOWN_KBIT * 0.9 * 1024 / 8,
    "uploadThroughput": _UP_KBIT * 0.9 * 1024 / 8,
    "connectionType": "cellular4g",
}
#: What is shorter than this gains nothing by being compressed. [bytes]
ONE_PACKET: Final = 1_500
#: A throttled round that takes longer has failed.
LONGEST_MS: Final = 60_000
POLL_MS: Final = 50

#: Runs in the page, before anything of its own. Only when the page is drawn and its scripts have
#: run is the control tapped. It has answered once the control itself is another and that is drawn:
#: a box that is ticked, a button that is pressed, or gone with its question answered.
WATCH: Final = """
(controls) => {
  const first = () => [...document.querySelectorAll(controls)].find((each) => {
    const box = each.getBoundingClientRect();
    return box.width > 0 && box.height > 0 && !each.disabled && !each.closest("dialog:not([open])");
  });
  const state = (control) =>
    [control.checked, control.getAttribute("aria-pressed"), control.checkVisibility()].join();
  const tap = (control) => {
    control.scrollIntoView({ block: "center" });
    window.drawnAt = performance.now();
    const before = state(control);
    control.click();
    const wait = () => requestAnimationFrame(() => {
      if (state(control) === before) wait();
      else requestAnimationFrame(() => { window.usableAt = performance.now(); });
    });
    wait();
  };
  const look = () => {
    const control = window.isReady && first();
    if (control) tap(control);
    else requestAnimationFrame(look);
  };
  document.addEventListener("DOMContentLoaded", () => { window.isReady = true; });
  requestAnimationFrame(look);
}
"""


def run(options: Options, databases: Databases) -> list[Result]:
    """A sheet of forty checks, then a longer one."""
    path = chromium()
    if path is None:
        must(not IN_CI, "there is no Chromium here; Debian: apt-get install chromium")
        say("  skipped: no Chromium here (Debian: apt-get install chromium, or STROKEBOOK_BROWSER)")
        return []
    results = []
    for checks in SIZES:
        with databases.throwaway():
            now = timezone.now()
            shop, manager = worlds.shop(at=now)
            worlds.fleet(rigs=1, readings=1, author=manager, at=now, places=worlds.LARGE)
            sheet = sheet_with(checks, shop=shop, author=manager)
            first = sheet.steps.filter(section="caution").order_by("order")[0].title
            cookie = worlds.client_of(manager).cookies[settings.SESSION_COOKIE_NAME].value
            connection.close()
            with server() as port, browser(path) as driven:
                phones = Phones(driven, home=f"http://127.0.0.1:{port}", cookie=cookie)
                floor, ours = looked_at(
                    options, phones, (EMPTY, "M. Bench"), (f"/sheets/{sheet.number}/work/", first)
                )
            _say_what_dominates(floor, ours)
            results.append(
                Result(
                    NAME,
                    connection.vendor,
                    f"{checks} checks",
                    statistics.median(each.usable_s for each in floor),
                    statistics.median(each.usable_s for each in ours),
                    GOAL,
                )
            )
    return results


def chromium() -> str | None:
    """Where the browser is, or None."""
    path = os.environ.get("STROKEBOOK_BROWSER") or shutil.which("chromium")
    return path if path and Path(path).exists() else None


@contextmanager
def browser(path: str) -> Iterator[Browser]:
    """A browser for as long as this lasts."""
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=path, args=FLAGS)
        try:
            yield started
        finally:
            started.close()


def sheet_with(checks: int, *, shop: Shop, author: Person) -> ServiceSheet:
    """A sheet of the only rig with so many checks, of what is there in the order of the rig."""
    now = timezone.now()
    many = Counter(Check.objects.values_list("version_id", flat=True))
    picked: list[Due] = []
    left = checks
    for due in Due.objects.filter(version__service__included_in__isnull=True).order_by(
        "position", "pk"
    ):
        here = many[due.version_id]
        if 0 < here <= left and not due.version.includes.exists():
            picked.append(due)
            left -= here
    sheet = draft_sheet(
        rig=picked[0].rig, dues=picked, planned_on=now.date(), author=author, at=now,
        today=timezone.localdate(now, shop.zone), request_id=uuid4(),
    )  # fmt: skip
    there = sheet.steps.filter(section="check").count()
    must(there == checks, f"the sheet has {there} checks, not {checks}")
    return sheet


@dataclass(slots=True)
class Opened:
    """One page as a phone opened it.

    usable_s: until the first control had answered. drawn_s: until it was there to be tapped.
    bytes_of: what came over the air, headers too, by what it was for.
    """

    usable_s: float
    drawn_s: float
    bytes_of: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Phones:
    """Phones of somebody signed in, each of which was never here before."""

    browser: Browser
    home: str
    cookie: str

    def open(self, address: str, *, says: str) -> Opened:
        """Open a page on the next phone. says: what stands on it. Raises WrongAnswer."""
        context = self.browser.new_context(**SCREENS[PHONE], base_url=self.home)
        try:
            context.set_default_timeout(LONGEST_MS)
            name = settings.SESSION_COOKIE_NAME
            context.add_cookies([{"name": name, "value": self.cookie, "url": self.home}])
            page = context.new_page()
            # Not as a function of the page: its policy lets nothing be made out of text there.
            page.add_init_script(f"({WATCH})({CONTROLS!r})")
            session = context.new_cdp_session(page)
            heard = _Listener(session)
            session.send("Emulation.setCPUThrottlingRate", {"rate": SLOWER_PROCESSOR})
            session.send("Network.emulateNetworkConditions", SLOW_4G)
            page.goto(address, wait_until="load", timeout=LONGEST_MS)
            return _opened(page, heard, address, says)
        finally:
            context.close()


def _opened(page: Page, heard: "_Listener", address: str, says: str) -> Opened:
    text = page.locator("main").inner_text()
    must(says in text, f"{address} does not show “{says}”")
    for _ in range(LONGEST_MS // POLL_MS):
        usable, drawn = page.evaluate("() => [window.usableAt ?? null, window.drawnAt ?? null]")
        if usable is not None:
            must_be_compressed(heard.answers.values(), heard.sizes)
            return Opened(usable / 1e3, drawn / 1e3, heard.bytes_of())
        page.wait_for_timeout(POLL_MS)
    raise WrongAnswer(f"nothing on {address} could be tapped, or it did not answer")


def looked_at(
    options: Options, phones: Phones, *pages: tuple[str, str]
) -> tuple[list[Opened], ...]:
    """What phones saw of each page, an address and what stands on it, turn by turn."""
    rounds = max(1, options.rounds // SHARE_OF_ROUNDS)
    seen: dict[str, list[Opened]] = {address: [] for address, _ in pages}
    # The first visit does not count: it fills the caches of the server.
    for turn in range(-1, rounds):
        for address, says in pages if turn % 2 else reversed(pages):
            found = phones.open(address, says=says)
            if turn >= 0:
                seen[address].append(found)
    return tuple(seen.values())


class _Listener:
    """What comes over the air while a page opens."""

    def __init__(self, session: CDPSession) -> None:
        self.answers: dict[str, Mapping[str, Any]] = {}
        self.sizes: dict[str, int] = {}
        session.on("Network.responseReceived", self._answered)
        session.on("Network.loadingFinished", self._finished)
        session.send("Network.enable")

    def _answered(self, event: Mapping[str, Any]) -> None:
        self.answers[event["requestId"]] = event

    def _finished(self, event: Mapping[str, Any]) -> None:
        self.sizes[event["requestId"]] = int(event["encodedDataLength"])

    def bytes_of(self) -> dict[str, int]:
        """Bytes by the kind of what was asked for."""
        found: Counter[str] = Counter()
        for request, size in self.sizes.items():
            if request in self.answers:
                found[str(self.answers[request]["type"])] += size
        return dict(found)


def must_be_compressed(answers: Iterable[Mapping[str, Any]], sizes: Mapping[str, int]) -> None:
    """Texts of more than a packet travel compressed. answers: as the browser tells of them.

    sizes: by their `requestId`. [bytes]
    """
    for event in answers:
        answer = event["response"]
        if not answer["mimeType"].startswith(("text/", "application/javascript")):
            continue
        headers = {name.lower(): value for name, value in answer["headers"].items()}
        must(
            headers.get("content-encoding") == "gzip"
            or sizes.get(event["requestId"], 0) < ONE_PACKET,
            f"{answer['url']} came as it is, not compressed",
        )


def _say_what_dominates(floor: list[Opened], ours: list[Opened]) -> None:
    last = ours[-1].bytes_of
    parts = ", ".join(f"{kind} {size / 1e3:.1f}" for kind, size in sorted(last.items()))
    total = sum(last.values())
    drawn, drawn_floor = (
        statistics.median(each.drawn_s for each in opened) for opened in (ours, floor)
    )
    say(
        f"  {total / 1e3:.0f} kB over the air ({parts}), goal {GOAL_BYTES / 1e3:.0f}: "
        f"{'met' if total <= GOAL_BYTES else 'not met'}; there to be tapped after "
        f"{drawn:.2f} s, the empty page after {drawn_floor:.2f} s"
    )
