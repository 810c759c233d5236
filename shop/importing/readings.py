"""Importing what counters showed: a year of it, in whatever order the rows stand."""

from collections.abc import Sequence
from datetime import datetime, time
from typing import Final

from equipment.models import Counter, Reading, Rig
from equipment.services import HistoryRefused, NewReading, PastReading, record_history
from shop.importing import finding
from shop.importing.cells import day, number, one_of, text, time_of_day, whole_number
from shop.importing.columns import Column, Kind, Record, RowRefused, Run

STEPS: Final = {
    "": Reading.Step.CONTINUED.value,
    "no": Reading.Step.CONTINUED.value,
    "n": Reading.Step.CONTINUED.value,
    "yes": Reading.Step.RESET.value,
    "y": Reading.Step.RESET.value,
    "rolled over": Reading.Step.ROLLOVER.value,
}


def import_readings(kind: Kind, run: Run, records: Sequence[Record]) -> None:
    """Record the readings of the file, in whatever order its rows stand."""
    rows: list[tuple[Record, PastReading]] = []
    first_at: dict[tuple[int, datetime], int] = {}
    for record in records:
        try:
            past = _past(kind, run, record)
            row = first_at.setdefault((past.new.counter.pk, past.at), record.row)
            if row != record.row:
                raise RowRefused(
                    f"Row {row} has this counter at the same time.", kind.column("counter").heading
                )
            rows.append((record, past))
        except RowRefused as refused:
            run.refuse(record.row, str(refused), refused.column)
    try:
        # Rows that could not be read are left out here, too: the others are judged all the same.
        record_history(
            readings=[past for _, past in rows],
            recorded_at=run.now,
            author=run.author,
            zone=run.zone,
        )
    except HistoryRefused as refused:
        for place, why in refused.errors.items():
            run.refuse(rows[place][0].row, str(why), kind.column("value").heading)


def _past(kind: Kind, run: Run, record: Record) -> PastReading:
    if record["before_reset"] is not None and record["step"] != Reading.Step.RESET:
        raise RowRefused(
            "There is a value before a reset, but no reset. Write yes in “Was reset”.",
            kind.column("step").heading,
        )
    return PastReading(
        new=NewReading(
            counter=_counter(kind, run, record),
            value=record["value"],
            step=record["step"],
            before_reset=record["before_reset"],
        ),
        at=_moment(kind, run, record),
        is_day_only=record["time"] is None,
        request_id=run.request_id(record.row),
    )


def _counter(kind: Kind, run: Run, record: Record) -> Counter:
    rig = finding.rig(run, record["number"], kind.column("number").heading)
    counters = finding.once(run, ("counters", rig.pk), lambda: _counters_of(rig))
    typed = " ".join(record["counter"].casefold().split())
    if typed not in counters:
        known = ", ".join(sorted(counter.name for counter in counters.values())) or "none"
        raise RowRefused(
            f"Rig {rig.number} has no counter “{record['counter']}”. It has: {known}.",
            kind.column("counter").heading,
        )
    return counters[typed]


def _counters_of(rig: Rig) -> dict[str, Counter]:
    """The counters read on a rig by name; one that travels with a component by its tag, too."""
    own = {row.name.casefold(): row for row in rig.counters.filter(is_retired=False)}
    travelling = Counter.objects.select_related("component").filter(
        is_retired=False,
        component__installations__position__rig=rig,
        component__installations__removed_at__isnull=True,
    )
    return own | {f"{row.component} {row.name}".casefold(): row for row in travelling}


def _moment(kind: Kind, run: Run, record: Record) -> datetime:
    heading = kind.column("date").heading
    on = finding.not_yet(record["date"], run, heading)
    if record["time"] is None:
        # Any moment of the day will do: where it stands is for the service to say.
        return finding.moment(on, time(12), run, heading)
    return finding.moment(on, record["time"], run, kind.column("time").heading)


READINGS: Final = Kind(
    "readings",
    "Readings",
    "One row for each counter and day. Rigs and counters must be there already.",
    (
        Column("Rig number", "number", whole_number(1, 9999), "1 to 9999.", "4", is_needed=True),
        Column(
            "Counter", "counter", text(40), "Its name on the rig.", "Generator hours",
            is_needed=True,
        ),
        Column("Date", "date", day, "The day it was read.", "2026-03-04", is_needed=True),
        Column(
            "Time", "time", time_of_day, "In the shop's own time. Empty: only the day is known.",
            "16:30", otherwise=None,
        ),
        Column("Value", "value", number, "What the face showed.", "1250.5", is_needed=True),
        Column(
            "Was reset (yes/no)", "step", one_of(STEPS),
            "Yes where the counter was set to zero since the reading before; “rolled over” where "
            "it ran past its highest number.", "no", otherwise=Reading.Step.CONTINUED.value,
        ),
        Column(
            "Value before reset", "before_reset", number,
            "What it showed just before. Empty: nobody saw it.", "", otherwise=None,
        ),
    ),
    import_readings,
)  # fmt: skip
