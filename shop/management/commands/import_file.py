"""manage.py import_file KIND FILE: what the page “Import” does, from a shell."""

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from shop.importing.files import FileRefused
from shop.importing.run import KINDS, ImportRefused, Outcome, RowsRefused, import_file, try_out
from shop.models import Person, Role, Shop


class Command(BaseCommand):
    help = "Import a CSV or XLSX file: all of its rows, or none. Bad rows are listed."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("kind", choices=list(KINDS), help="what is in the file")
        parser.add_argument("file", type=Path, help="the CSV or XLSX file")
        parser.add_argument("--check", action="store_true", help="look at it, and write nothing")
        parser.add_argument(
            "--by", metavar="SIGN_IN", help="whose name the rows bear; else the first manager's"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        kind = KINDS[options["kind"]]
        shop = Shop.objects.first()
        if shop is None:
            raise CommandError("There is no shop yet: open the page, and set it up first.")
        author = self._author(options["by"])
        try:
            content = options["file"].read_bytes()
        except OSError as unread:
            raise CommandError(f"{options['file']} cannot be read: {unread.strerror}.") from unread
        with timezone.override(shop.zone):
            try:
                if options["check"]:
                    outcome = try_out(
                        kind=kind,
                        content=content,
                        author=author,
                        now=timezone.now(),
                        zone=shop.zone,
                    )
                    self._tell(outcome)
                    return
                done = import_file(
                    kind=kind,
                    content=content,
                    name=options["file"].name,
                    author=author,
                    now=timezone.now(),
                    zone=shop.zone,
                )
            except RowsRefused as refused:
                self._list(refused.outcome)
                raise CommandError(str(refused)) from refused
            except (FileRefused, ImportRefused) as refused:
                raise CommandError(str(refused)) from refused
        self.stdout.write(f"{kind.label}: {done.rows} rows imported.")

    def _author(self, sign_in: str | None) -> Person:
        people = Person.objects.filter(role=Role.MANAGER, is_active=True).order_by("pk")
        author = people.filter(sign_in=sign_in.casefold()) if sign_in else people
        if found := author.first():
            return found
        raise CommandError(
            f"There is no manager who signs in as {sign_in}."
            if sign_in
            else "There is no manager who may sign in."
        )

    def _tell(self, outcome: Outcome) -> None:
        if outcome.earlier:
            raise CommandError(f"This file was imported already, as “{outcome.earlier.name}”.")
        self._list(outcome)
        if outcome.problems:
            raise CommandError(f"{outcome.good_rows} rows are good, the others are not.")
        for what, rows in outcome.also_adds:
            self.stdout.write(f"row {rows[0]}: also adds {what}")
        self.stdout.write(f"All {outcome.good_rows} rows are good. Nothing was written.")

    def _list(self, outcome: Outcome) -> None:
        for problem in outcome.problems:
            where = f", {problem.column}" if problem.column else ""
            self.stderr.write(f"row {problem.row}{where}: {problem.text}")
