"""`manage.py demo`: an invented shop to try, loaded once and served on this machine."""

import errno
import logging
import socket
import time
from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.core.servers import basehttp
from django.core.wsgi import get_wsgi_application
from django.db import connection
from django.utils import timezone

from equipment.models import ShiftLog
from inventory import guards
from shop.demo.loading import load
from shop.demo.story import HISTORY_DAYS, PASSWORD
from shop.models import Person, Shop
from shop.words import day

HOST = "127.0.0.1"
SIGN_INS = ("manager", "technician", "electrician", "owner")


class Command(BaseCommand):
    help = "Load an invented shop, if it is not there yet, and serve it on this machine."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--load-only", action="store_true", help="stop after loading")
        parser.add_argument("--port", type=int, default=8000, help="port to serve on (8000)")
        parser.add_argument(
            "--fresh", action="store_true", help="throw the demo shop away and load it anew"
        )

    def handle(self, *args: Any, load_only: bool, port: int, fresh: bool, **options: Any) -> None:
        if not load_only:
            refuse_port_in_use(port)
        call_command("migrate", verbosity=0)
        self._load(fresh=fresh)
        if not load_only:
            self._serve(port)

    def _load(self, *, fresh: bool) -> None:
        now = timezone.now()
        shop = Shop.objects.first()
        if shop and not shop.is_demo:
            raise CommandError(
                f"This database holds a real shop, {shop.name}. The demo would spoil it: give"
                " another database with DATABASE_URL, or another folder with STROKEBOOK_DATA."
            )
        if shop and fresh:
            self.stdout.write("Throwing the old demo shop away.")
            empty_database()
            shop = None
        if shop:
            today = timezone.localdate(now, shop.zone)
            since = timezone.localdate(shop.created_at, shop.zone) + timedelta(days=HISTORY_DAYS)
            self.stdout.write(f"{shop.name} is here already, loaded on {day(since, today=today)}.")
            if since != today:
                self.stdout.write("Its dates stand still; --fresh loads it anew, as of today.")
            return
        self.stdout.write("Inventing a shop with fourteen months behind it; this takes a moment …")
        began = time.monotonic()
        try:
            story = load(now=now)
        except BaseException:
            # Also when somebody grows impatient: half a shop would pass for a whole one.
            empty_database()
            raise
        self.stdout.write(f"{story.shop.name} is loaded ({time.monotonic() - began:.0f} s).")

    def _serve(self, port: int) -> None:
        # WhiteNoise looks for this folder and grumbles where it is missing.
        Path(settings.STATIC_ROOT).mkdir(parents=True, exist_ok=True)
        application = get_wsgi_application()
        logging.getLogger("django.server").setLevel(logging.ERROR)
        self.stdout.write(f"\n  Open http://{HOST}:{port}/ and sign in as one of these:\n\n")
        people = {person.sign_in: person for person in Person.objects.filter(sign_in__in=SIGN_INS)}
        for sign_in in SIGN_INS:
            if person := people.get(sign_in):
                what = "technician, licensed electrician" if person.is_electrician else person.role
                self.stdout.write(f"    {sign_in:12} {PASSWORD:12} {person.name}, {what}")
        self.stdout.write("\n  Ctrl-C stops it; what you changed is there the next time.\n")
        self.stdout.flush()
        try:
            basehttp.run(HOST, port, application, threading=True)
        except OSError as error:
            raise port_refused(error, port) from error
        except KeyboardInterrupt:
            self.stdout.write("\nStopped.")


def refuse_port_in_use(port: int) -> None:
    """Say so before a minute of loading, not after it. Raises CommandError."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except (OSError, OverflowError) as error:
            raise port_refused(error, port) from error


def port_refused(error: Exception, port: int) -> CommandError:
    """The refusal of a port in plain words."""
    if isinstance(error, OSError) and error.errno == errno.EADDRINUSE:
        return CommandError(f"Port {port} is in use by another program. Try --port {port + 1}.")
    if isinstance(error, OSError) and error.errno == errno.EACCES:
        return CommandError(f"Port {port} is not for everybody's use. Try --port 8000.")
    return CommandError(f"Port {port} cannot be used: {error}.")


def empty_database() -> None:
    """Take everything out of a demo's database, the ledger too; its guards stand again after."""
    for name in ShiftLog.objects.values_list("file", flat=True):
        default_storage.delete(name)
    guards.lift_all(connection)
    call_command("flush", interactive=False, verbosity=0)
