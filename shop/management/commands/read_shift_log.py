"""manage.py read_shift_log UNIT FILE…: what the page for logs does, from a shell."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from equipment.models import LogLayout, Rig
from equipment.services.shiftlogs import (
    ASKS,
    KNOWN,
    READ,
    REFUSED,
    LayoutRefused,
    Outcome,
    keep_layout,
    layout_kept,
    look_at_many,
    read_many,
    sources,
)
from equipment.shiftlogs.blocks import Day
from equipment.shiftlogs.days.reckoning import day_json
from equipment.shiftlogs.layout import KEYS
from shop.models import Person, Role, Shop

#: Wrong use, as argparse has it.
USAGE: Final = 2
SAID: Final = {
    READ: "read",
    KNOWN: "known already",
    ASKS: "asks",
    REFUSED: "refused",
}


class Command(BaseCommand):
    help = "Read the logs that a rig's controller wrote: files, folders or ZIPs."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("unit", metavar="UNIT", help="number or name of the rig")
        parser.add_argument("files", metavar="FILE", nargs="+", type=Path)
        parser.add_argument("--layout", metavar="NAME", help="a layout that was kept by this name")
        parser.add_argument(
            "--answer",
            metavar="KEY=VALUE",
            action="append",
            default=[],
            help=f"answer to a question; again for each. KEY: {', '.join(KEYS)}",
        )
        parser.add_argument("--dry-run", action="store_true", help="look only, and write nothing")
        parser.add_argument("--json", action="store_true", help="print a list for a program")
        parser.add_argument(
            "--keep-layout", metavar="NAME", help="keep the layout of the first file that is read"
        )
        parser.add_argument(
            "--by", metavar="SIGN_IN", help="whose name it bears; else the first manager's"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        shop = Shop.objects.first()
        if shop is None:
            raise _usage("There is no shop yet: open the page, and set it up first.")
        rig = _rig(options["unit"])
        layout = _layout(options["layout"])
        author = _author(options["by"])
        answers = {**(layout.answers if layout else {}), **_answers(options["answer"])}
        now, zone = timezone.now(), shop.zone
        common: dict[str, Any] = {
            "rig": rig,
            "sources": list(sources(options["files"])),
            "zone": zone,
            "rules": shop.log_rules,
            "answers": answers,
            "layout": layout.kept if layout else None,
        }
        if options["dry_run"]:
            outcomes = look_at_many(now=now, **common)
        else:
            outcomes = read_many(author=author, at=now, **common)
        name = options["keep_layout"]
        fault = ""
        if name and not options["dry_run"]:
            fault = _keep_layout(name, outcomes, author)
        if options["json"]:
            listed = [outcome_json(outcome) for outcome in outcomes]
            self.stdout.write(json.dumps(listed, ensure_ascii=False, indent=1))
        else:
            for outcome in outcomes:
                self._tell(outcome, is_dry=options["dry_run"])
        if fault:
            raise _usage(fault)
        if not outcomes:
            raise CommandError("There is no file in it.")
        if not all(outcome.is_done for outcome in outcomes):
            raise SystemExit(1)

    def _tell(self, outcome: Outcome, *, is_dry: bool) -> None:
        status = SAID[outcome.status]
        if is_dry and outcome.status == READ:
            status = "would be read"
        rows = f", {outcome.rows:,} rows" if outcome.rows else ""
        bad = f", {outcome.bad_rows:,} of them could not be read" if outcome.bad_rows else ""
        self.stdout.write(f"{outcome.file}: {status}{rows}{bad}")
        if outcome.reason:
            self.stdout.write(f"  {outcome.reason}")
        for note in outcome.notes:
            self.stdout.write(f"  {note}")
        for question in outcome.questions:
            self.stdout.write(f"  ? {question.key}: {question.why}")
            for token, meaning in question.choices:
                self.stdout.write(f"      --answer {question.key}={token}   {meaning}")
            if question.free:
                self.stdout.write(f"      --answer {question.key}=…   another answer")
        for bad_row in outcome.bad_rows_shown[:5] if outcome.questions else ():
            self.stdout.write(f"  line {bad_row.line:,}: {bad_row.reason}: {bad_row.text[:60]}")
        for day in outcome.days:
            self.stdout.write(f"  {_in_words(day)}")
        for each in outcome.contradictions:
            self.stdout.write(
                f"  ! {each.date}, {each.counter.name}: the log shows {each.value.normalize():,f}. "
                f"{each.words}"
            )


def outcome_json(outcome: Outcome) -> dict[str, Any]:
    """Return an outcome in the form that DEVELOPERS.md gives."""
    return {
        "file": outcome.file,
        "status": outcome.status,
        "reason": outcome.reason,
        "questions": [
            {
                "key": each.key,
                "choices": [token for token, _ in each.choices],
                "why": each.why,
                "meanings": dict(each.choices),
            }
            for each in outcome.questions
        ],
        "days": [day_json(day) for day in outcome.days] if outcome.is_done else [],
        "notes": list(outcome.notes),
        "rows": outcome.rows,
        "bad_rows": outcome.bad_rows,
        "contradictions": [
            {
                "date": each.date.isoformat(),
                "counter": each.counter.name,
                "at": each.at.isoformat(),
                "value": float(each.value),
                "words": each.words,
            }
            for each in outcome.contradictions
        ],
    }


def _usage(message: str) -> CommandError:
    """The command cannot even begin."""
    return CommandError(message, returncode=USAGE)


def _in_words(day: Day) -> str:
    """A day in one line; what the log does not say is left out."""
    parts = [day.date.isoformat()]
    for value, text in (
        (day.run_hours, "{:.2f} h"),
        (day.strokes_a, "A {:,.0f} strokes"),
        (day.strokes_b, "B {:,.0f} strokes"),
        (day.gallons, "{:,.1f} gal"),
        (day.minutes_off_ratio, "{} min off ratio"),
    ):
        if value is not None:
            parts.append(text.format(value))
    resets = (day.resets_a or 0) + (day.resets_b or 0)
    if resets:
        parts.append("1 reset" if resets == 1 else f"{resets} resets")
    if day.is_at_least:
        parts.append("at least")
    if day.gap_minutes:
        parts.append(f"{day.gap_minutes:.0f} min without rows")
    return ", ".join(parts)


def _rig(unit: str) -> Rig:
    rigs = Rig.objects.all()
    text = unit.strip()
    if text.isdecimal() and (found := rigs.filter(number=int(text)).first()):
        return found
    named = [rig for rig in rigs if text.casefold() in (rig.name.casefold(), str(rig).casefold())]
    if len(named) == 1:
        return named[0]
    known = ", ".join(str(rig) for rig in rigs.order_by("number")) or "none"
    what = "More than one rig is" if named else "No rig is"
    raise _usage(f"{what} called “{unit}”. The rigs are: {known}.")


def _layout(name: str | None) -> LogLayout | None:
    if name is None:
        return None
    if found := layout_kept(name):
        return found
    names = LogLayout.objects.filter(is_retired=False).order_by("name")
    known = ", ".join(f"“{each.name}”" for each in names) or "none"
    raise _usage(f"No layout is kept as “{name}”. Kept are: {known}.")


def _answers(given: Sequence[str]) -> Mapping[str, str]:
    answers = {}
    for each in given:
        key, equals, value = each.partition("=")
        if key.strip() not in KEYS or not equals or not value.strip():
            raise _usage(f"“{each}” is no answer: give KEY=VALUE, KEY one of {', '.join(KEYS)}.")
        answers[key.strip()] = value.strip()
    return answers


def _author(sign_in: str | None) -> Person:
    people = Person.objects.filter(is_active=True).order_by("pk")
    if sign_in is None:
        people = people.filter(role=Role.MANAGER)
    else:
        people = people.filter(sign_in=sign_in.casefold()).exclude(role=Role.OWNER)
    if found := people.first():
        return found
    raise _usage(
        f"Nobody who may read logs signs in as {sign_in}."
        if sign_in
        else "There is no manager who may sign in."
    )


def _keep_layout(name: str, outcomes: Sequence[Outcome], author: Person) -> str:
    """Keep the layout of the first file that was read; return why not, or ""."""
    for outcome in outcomes:
        if outcome.log is not None:
            try:
                keep_layout(name=name, log=outcome.log, author=author, at=timezone.now())
            except LayoutRefused as refused:
                return str(refused)
            return ""
    return "No layout was kept, since no file was read."
