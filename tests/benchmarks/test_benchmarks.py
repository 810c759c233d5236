"""The benchmarks run, say what they should, and notice an answer that is fast and wrong."""

import json
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any
from uuid import uuid4

import numpy as np
import pytest
from django.conf import settings
from django.utils import timezone

from equipment.models import Due, Reading
from equipment.services import advancing, keeping
from shop.paper import sheet as paper
from tests.benchmarks import (
    due_page,
    due_rebuild,
    kit_issue,
    list_page,
    log_ingest,
    phone_open,
    reading_post,
    reorder_advice,
    sheet_pdf,
    worlds,
)
from tests.benchmarks.__main__ import BENCHMARKS, main, table
from tests.benchmarks.measure import Options, Result, WrongAnswer, take_turns
from tests.depth import share_of
from tests.shop.paper import samples

KEYS = {"name", "database", "size", "floor_s", "ours_s", "ratio", "goal"}
QUICK = Options(rounds=1, quick=True)


@pytest.fixture
def live_page(monkeypatch: pytest.MonkeyPatch) -> Iterator[Callable[[str], phone_open.Phones]]:
    """Phones in front of a server that knows one page."""
    monkeypatch.setattr(phone_open, "LONGEST_MS", 8_000)
    page = b""

    class Answers(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            self.send_response(200)
            self.send_header("Content-Type", "text/html; charset=utf-8")
            self.send_header("Content-Length", str(len(page)))
            self.end_headers()
            self.wfile.write(page)

        def log_message(self, *_: object) -> None:
            """Say nothing."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Answers) as served, ExitStack() as stack:
        threading.Thread(target=served.serve_forever, daemon=True).start()
        stack.callback(served.shutdown)
        driven = stack.enter_context(phone_open.browser(phone_open.chromium() or ""))

        def phones(body: str) -> phone_open.Phones:
            nonlocal page
            page = f"<!DOCTYPE html><title>One</title>{body}".encode()
            home = f"http://127.0.0.1:{served.server_port}"
            return phone_open.Phones(driven, home=home, cookie="none")

        yield phones


@pytest.fixture
def bare_addresses(settings: Any) -> None:
    settings.ROOT_URLCONF = "tests.benchmarks.urls"
    settings.ALLOWED_HOSTS = ["127.0.0.1"]


@pytest.mark.postgresql_too
@pytest.mark.long
@pytest.mark.timeout(420)
def test_a_quick_run_of_all_gives_every_key_at_two_sizes_each() -> None:
    """Of all under CI, elsewhere of a third of them."""
    names = share_of(list(BENCHMARKS), every=3)
    ran = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks", "--quick", "--json", "--rounds", "1", *names],
        cwd=Path(settings.BASE_DIR),
        capture_output=True,
        text=True,
        # Half a minute of work; a machine shared by many takes several times as long.
        timeout=400,
        check=False,
    )
    assert ran.returncode == 0, ran.stderr
    results = json.loads(ran.stdout)
    assert all(set(each) == KEYS for each in results)
    assert all(each["floor_s"] > 0 and each["ours_s"] > 0 for each in results)
    assert all(
        each["ratio"] == pytest.approx(each["ours_s"] / each["floor_s"], rel=0.01)
        for each in results
    )
    # Without the browser that it drives a benchmark says so, and gives nothing.
    there = [name for name in names if name != phone_open.NAME or phone_open.chromium()]
    for name in there:
        assert len({each["size"] for each in results if each["name"] == name}) >= 2


def test_a_wrong_answer_ends_with_one_and_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = paper.sheets_pdf
    other = samples.sheet(groups=())
    monkeypatch.setattr(paper, "sheets_pdf", lambda sheets: real([other for _ in sheets]))
    assert main(["sheet-pdf", "--quick"]) == 1
    assert "sheet-pdf: wrong answer: " in capsys.readouterr().err


@pytest.mark.usefixtures("bare_addresses")
@pytest.mark.django_db(transaction=True)
def test_a_reading_whose_due_rows_do_not_follow_is_noticed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    rigs = QUICK.rounds + reading_post.WARM
    monkeypatch.setattr(advancing, "advance", lambda **_: None)
    with pytest.raises(WrongAnswer, match="kept rows are not what their history says"):
        reading_post.measured(QUICK, rigs=rigs, readings_each=1)


@pytest.mark.django_db
def test_a_reading_that_is_not_kept_is_noticed() -> None:
    shop, _ = worlds.shop(at=timezone.now())
    with pytest.raises(WrongAnswer, match="1 readings were sent, and 0 are kept"):
        reading_post.check(shop, [worlds.Counter()], before=Reading.objects.count())


@pytest.mark.django_db
def test_a_due_list_in_another_order_or_of_other_rows_is_noticed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = timezone.now()
    shop, manager = worlds.shop(at=now)
    worlds.fleet(rigs=1, readings=2, author=manager, at=now)
    today = timezone.localdate(now, shop.zone)
    Due.objects.filter(kind__name=due_page.KIND).update(due_date=today)
    due_page.measured(QUICK, shop=shop, today=today, sort="date", before="month")
    monkeypatch.setattr(due_page.duelist, "ordered", lambda rows, **_: rows.order_by("-pk"))
    with pytest.raises(WrongAnswer, match="the due list gives other rows than there are"):
        due_page.measured(QUICK, shop=shop, today=today, sort="date", before="month")


@pytest.mark.django_db(transaction=True)
def test_a_turn_of_the_day_that_leaves_rows_as_they_were_is_noticed(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = timezone.now()
    shop, manager = worlds.shop(at=now)
    worlds.fleet(rigs=2, readings=2, author=manager, at=now)
    today = timezone.localdate(now, shop.zone)
    due_rebuild.measured(shop=shop, today=today, rounds=1)
    monkeypatch.setattr(keeping, "write", lambda model, rows, fields: len(rows))
    with pytest.raises(WrongAnswer, match="rows are kept with another odds_late_permille"):
        due_rebuild.measured(shop=shop, today=today, rounds=1)


@pytest.mark.django_db
def test_copies_of_rigs_are_rigs_of_their_own_with_the_same_due_rows() -> None:
    now = timezone.now()
    _, manager = worlds.shop(at=now)
    of_a_rig = worlds.fleet(rigs=2, readings=1, author=manager, at=now)
    worlds.Copies().grow(3)
    numbers = worlds.Rig.objects.values_list("number", flat=True).order_by("number")
    assert list(numbers) == [1, 2, 3, 4, 5, 6]
    first, copy = (
        [
            (row.component.tag.partition("_")[0], row.version_id, row.due_date, row.since)
            for row in Due.objects.for_due_list().filter(rig__number=number).order_by("pk")
        ]
        for number in (2, 6)
    )
    assert copy == first
    assert len(copy) == of_a_rig
    assert all(row.rig_number == row.rig.number for row in Due.objects.for_due_list())


@pytest.mark.parametrize("numbers", [range(2, 52), range(1, 50), range(50, 0, -1)])
def test_a_list_page_with_other_rows_is_noticed(numbers: range) -> None:
    def page(of: range) -> str:
        return "<tbody>" + "".join(f"<a>P-{number:05d}</a> $1" for number in of)

    list_page.check(page(range(1, 51)), rows=50)
    with pytest.raises(WrongAnswer):
        list_page.check(page(numbers), rows=50)


@pytest.mark.django_db
def test_a_log_that_is_read_wrongly_is_noticed(tmp_path: Path) -> None:
    log = log_ingest.written(tmp_path / "log.csv", rows=2_000)
    _, manager = worlds.shop(at=log_ingest.READ_BEFORE)
    worlds.fleet(rigs=1, readings=1, author=manager, at=log_ingest.READ_BEFORE)
    outcome = log_ingest.ingest(log.path, rig=1)
    log_ingest.check(log, outcome, is_last=True)
    wrong = replace(log, strokes_a=log.strokes_a + 1)
    with pytest.raises(WrongAnswer, match=r"strokes A were logged, not"):
        log_ingest.check(wrong, outcome, is_last=False)
    with pytest.raises(WrongAnswer, match=r"1,999 of 2,000 rows"):
        log_ingest.check(log, replace(outcome, rows=1_999), is_last=False)
    log_ingest.mark(log, 1)
    with pytest.raises(WrongAnswer, match=r"the kept file is another"):
        log_ingest.check(log, outcome, is_last=True)


@pytest.mark.django_db
def test_an_issue_that_is_lost_doubled_or_not_in_the_books_is_noticed() -> None:
    _, manager = worlds.shop(at=kit_issue.AT)
    parts, places = kit_issue.stocked(author=manager)
    before = kit_issue.Movement.objects.count()
    with pytest.raises(WrongAnswer, match="1 issues wrote 0 lines"):
        kit_issue.check(issues=1, before=before)
    lines = [kit_issue.IssueLine(part, places[0], 1) for part in parts]
    for _ in range(2):
        kit_issue.issue(lines=lines, author=manager, at=kit_issue.AT, request_id=uuid4())
    kit_issue.check(issues=2, before=before)
    kit_issue.Balance.objects.filter(part=parts[3]).update(quantity_steps=7)
    with pytest.raises(WrongAnswer, match="the books do not prove"):
        kit_issue.check(issues=2, before=before)


@pytest.mark.parametrize("wrong", ["steps", "reached", "changed", "both"])
def test_a_reorder_point_that_is_off_is_noticed(wrong: str) -> None:
    world = reorder_advice.made(30)
    changed = np.arange(0, 30, 10)
    steps, reached = reorder_advice.advised(world)
    floor = reorder_advice.bare(world)
    some = reorder_advice.advised(reorder_advice.only(world, changed))
    reorder_advice.check((steps, reached), floor, some, world, changed)
    one_off = steps + (np.arange(30) == 7)
    told = {
        "steps": ((one_off, reached), floor, some),
        "reached": ((steps, reached - 1e-6), floor, some),
        "changed": ((steps, reached), floor, (some[0] + 1, some[1])),
        # Even where the floor errs alike.
        "both": ((one_off, reached), (one_off, reached), some),
    }
    with pytest.raises(WrongAnswer):
        reorder_advice.check(*told[wrong], world, changed)


def _answer(number: int, **headers: str) -> dict[str, Any]:
    response = {"url": f"/{number}", "mimeType": "text/css", "headers": headers}
    return {"requestId": str(number), "response": response}


def test_a_text_that_came_as_it_is_is_noticed() -> None:
    small, large = _answer(1), _answer(2, **{"Content-Encoding": "gzip"})
    sizes = {"1": 900, "2": 9_000}
    phone_open.must_be_compressed([small, large], sizes)
    with pytest.raises(WrongAnswer, match="/1 came as it is"):
        phone_open.must_be_compressed([small, large], {**sizes, "1": 9_000})


def test_a_machine_without_chromium_skips_and_says_so_but_not_in_ci(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("STROKEBOOK_BROWSER", "/no/such/browser")
    monkeypatch.setattr(phone_open, "IN_CI", False)
    databases: Any = None
    assert phone_open.run(QUICK, databases) == []
    assert "skipped: no Chromium here" in capsys.readouterr().err
    monkeypatch.setattr(phone_open, "IN_CI", True)
    with pytest.raises(WrongAnswer, match="no Chromium"):
        phone_open.run(QUICK, databases)


@pytest.mark.browser
@pytest.mark.skipif(not phone_open.chromium(), reason="No Chromium here.")
@pytest.mark.parametrize(
    ("body", "words"),
    [
        ("<main>Sheet<ul><li><button>Never answers</button></ul></main>", "did not answer"),
        ("<main>Sheet</main>", "nothing on / could be tapped"),
        ("<main>Another<ul><li><button>Tap</button></ul></main>", "does not show “Sheet”"),
    ],
)
def test_a_page_that_does_not_answer_or_is_another_is_noticed(
    live_page: Callable[[str], phone_open.Phones], body: str, words: str
) -> None:
    with pytest.raises(WrongAnswer, match=words):
        live_page(body).open("/", says="Sheet")


@pytest.mark.browser
@pytest.mark.skipif(not phone_open.chromium(), reason="No Chromium here.")
def test_a_page_is_usable_when_its_first_control_has_answered(
    live_page: Callable[[str], phone_open.Phones],
) -> None:
    late = (
        "<main>Sheet<ul><li><button>Tap</button></ul></main><script>"
        "document.querySelector('button').onclick = (event) =>"
        " setTimeout(() => { event.target.setAttribute('aria-pressed', 'true'); }, 700)</script>"
    )
    opened = live_page(late).open("/", says="Sheet")
    assert opened.usable_s - opened.drawn_s > 0.6
    assert opened.drawn_s > phone_open.SLOW_4G["latency"] / 1e3
    assert opened.bytes_of["Document"] > len(late)


def test_turns_are_taken_by_both_and_the_first_do_not_count() -> None:
    told: list[tuple[str, int]] = []
    floor_s, ours_s = take_turns(
        lambda number: told.append(("ours", number)),
        lambda number: told.append(("floor", number)),
        rounds=2,
        warm=1,
    )
    assert told == [
        ("floor", 0), ("ours", 0), ("ours", 1), ("floor", 1), ("floor", 2), ("ours", 2),
    ]  # fmt: skip
    assert floor_s >= 0
    assert ours_s >= 0


def test_the_table_says_what_is_met_and_how_the_cost_grew() -> None:
    one = Result("due-page", "sqlite", "10 rigs", floor_s=0.001, ours_s=0.004, goal=4.0)
    two = Result("due-page", "sqlite", "20 rigs", floor_s=0.001, ours_s=0.006, goal=4.0)
    _, first, second = table([one, two])
    assert first.endswith("4.00  4.00 met")
    assert second.endswith("6.00  4.00 not met, 1.50 × the smallest")


def test_the_bare_canvas_draws_each_run_of_text_at_its_place() -> None:
    stack = list(sheet_pdf.stack_of(1, 16))
    drawn = sheet_pdf.bare(sheet_pdf.recorded(stack))
    sheet_pdf.check(paper.sheets_pdf(stack), drawn, stack)


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(SystemExit) as ended:
        main(["due-pages"])
    assert ended.value.code == 2
