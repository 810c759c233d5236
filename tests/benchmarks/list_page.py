"""list-page: a list of fifty parts through the whole HTTP stack, beside a bare hello."""

import os
import re
import socket
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.client import HTTPConnection
from itertools import count
from pathlib import Path
from typing import Final

from django.conf import settings
from django.db import connection
from django.utils import timezone

from tests.benchmarks import worlds
from tests.benchmarks.database import Databases, analyze
from tests.benchmarks.measure import POSTGRESQL, SQLITE, Options, Result, must, take_turns

NAME: Final = "list-page"
GOALS: Final = {SQLITE: 3.0, POSTGRESQL: 3.0}
ROWS: Final = 50
CLIENTS: Final = 8
#: Threads of the server, as the README starts it.
THREADS: Final = 8
LIST, HELLO = "/parts/", "/bare/hello/"


def run(options: Options, databases: Databases) -> list[Result]:
    """Few parts, then many; each alone, then the slowest twentieth when eight people look."""
    results = []
    for parts in (60, 120) if options.quick else (200, 5000):
        with databases.throwaway():
            now = timezone.now()
            _, manager = worlds.shop(at=now)
            worlds.parts(count=parts, author=manager, at=now)
            analyze()
            cookie = worlds.client_of(manager).cookies[settings.SESSION_COOKIE_NAME].value
            connection.close()
            with server() as port:
                results += measured(options, port=port, cookie=cookie, size=f"{parts:,} parts")
    return results


def measured(options: Options, *, port: int, cookie: str, size: str) -> list[Result]:
    """One size, on a server that runs: one visitor, then eight."""
    visitor = Visitor(port, cookie)
    check(visitor.get(LIST).decode(), ROWS)
    must(visitor.get(HELLO) == b"hello M. Bench", "the bare page does not know who is signed in")
    floor_s, ours_s = take_turns(
        lambda _: visitor.get(LIST), lambda _: visitor.get(HELLO), rounds=options.rounds * 3
    )
    visitor.close()
    kind = connection.vendor
    alone = Result(NAME, kind, size, floor_s, ours_s, GOALS[kind])
    crowd = 2 if options.quick else options.rounds
    slow_floor, slow_ours = (slowest(port, cookie, path, visits=crowd) for path in (HELLO, LIST))
    crowded = Result(
        NAME, kind, size, slow_floor, slow_ours, GOALS[kind], of=f"p95 at {CLIENTS} clients"
    )
    return [alone, crowded]


def check(page: str, rows: int) -> None:
    """The page shows so many parts, from the first on, with what lies there of each."""
    body = page[page.index("<tbody") :]
    numbers = re.findall(r">(P-\d{5})<", body)
    wanted = [f"P-{number:05d}" for number in range(1, rows + 1)]
    must(numbers == wanted, f"the list shows {len(numbers)} parts, or not the first {rows}")
    must("$" in body, "the list shows no value")


def slowest(port: int, cookie: str, path: str, *, visits: int) -> float:
    """The time that nineteen of twenty visits stay under while eight people visit. [s]"""
    times: list[float] = []
    wrong: list[Exception] = []
    start = threading.Barrier(CLIENTS)

    def visit() -> None:
        visitor = Visitor(port, cookie)
        try:
            visitor.get(path)
            start.wait(timeout=60)
            for _ in range(visits):
                begins = time.perf_counter()
                visitor.get(path)
                times.append(time.perf_counter() - begins)
        except Exception as error:
            start.abort()
            wrong.append(error)
        finally:
            visitor.close()

    threads = [threading.Thread(target=visit) for _ in range(CLIENTS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if wrong:
        raise wrong[0]
    return statistics.quantiles(times, n=20)[-1]


class Visitor:
    """Somebody signed in, on one connection that is kept."""

    def __init__(self, port: int, cookie: str) -> None:
        self.connection = HTTPConnection("127.0.0.1", port, timeout=60)
        self.headers = {"Cookie": f"{settings.SESSION_COOKIE_NAME}={cookie}"}

    def get(self, path: str) -> bytes:
        self.connection.request("GET", path, headers=self.headers)
        answer = self.connection.getresponse()
        body = answer.read()
        must(answer.status == 200, f"{path} answered {answer.status}")
        return body

    def close(self) -> None:
        self.connection.close()


@contextmanager
def server() -> Iterator[int]:
    """Serve the product and the bare pages, as the README does, for as long as this lasts."""
    with socket.socket() as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        port = listening.getsockname()[1]
        command = [sys.executable, "-m", "gunicorn", "shop.wsgi"]
        command += ["--bind", f"fd://{listening.fileno()}", "--threads", f"{THREADS}"]
        command += ["--keep-alive", "60", "--log-level", "warning"]
        served = subprocess.Popen(
            command,
            pass_fds=[listening.fileno()],
            cwd=Path(settings.BASE_DIR),
            env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.benchmarks.settings"},
        )
    try:
        _wait_for(port, served)
        yield port
    finally:
        served.terminate()
        served.wait(timeout=30)


def _wait_for(port: int, served: "subprocess.Popen[bytes]") -> None:
    for tried in count():
        try:
            visitor = HTTPConnection("127.0.0.1", port, timeout=60)
            visitor.request("GET", "/sign-in/")
            visitor.getresponse().read()
            visitor.close()
            return
        except OSError:
            if tried > 100 or served.poll() is not None:
                raise
            time.sleep(0.1)
