"""manage.py read_shift_log: what it prints, what it writes, and how it ends."""

import json
import zipfile
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from equipment.models import LogLayout, Reading, ShiftDay, ShiftLog
from shop.models import Person, Role, Shop
from tests.equipment.factories import SprayRig, day, spray_rig
from tests.equipment.logs import NOW, climb, log_text, nothing_stored

ROWS = 120
MORNING = log_text("2026-01-12 07:00:00", climb(100, ROWS), climb(200, ROWS))
NOON = log_text("2026-01-12 12:00:00", climb(457, ROWS), climb(557, ROWS))
BAD = MORNING.replace(b",130,", b",1x0,", 1)


@pytest.fixture
def made(shop: Shop, manager: Person, monkeypatch: pytest.MonkeyPatch) -> SprayRig:
    monkeypatch.setattr(timezone, "now", lambda: NOW)
    return spray_rig(author=manager)


Write = Callable[[str, bytes], Path]


@pytest.fixture
def write(tmp_path: Path) -> Write:
    def write(name: str, content: bytes) -> Path:
        path = tmp_path / name
        path.write_bytes(content)
        return path

    return write


def run(*given: object, **options: Any) -> tuple[str, int]:
    """Return what it prints, and its exit code."""
    said, code = StringIO(), 0
    try:
        call_command("read_shift_log", *map(str, given), stdout=said, **options)
    except SystemExit as ended:
        code = int(str(ended.code))
    return said.getvalue(), code


def as_json(*given: object) -> tuple[list[dict[str, Any]], int]:
    said, code = run(*given, "--json")
    return json.loads(said), code


def test_json_has_the_form_of_the_definitions(made: SprayRig, write: Write) -> None:
    (entry,), code = as_json(1, write("day.csv", MORNING))
    assert code == 0
    assert (entry["file"], entry["status"], entry["reason"]) == ("day.csv", "read", "")
    assert (entry["questions"], entry["contradictions"], entry["bad_rows"]) == ([], [], 0)
    assert entry["days"] == [
        {
            "date": "2026-01-12",
            "run_hours": 0.1653,
            "strokes_a": 357,
            "strokes_b": 357,
            "gallons": 71.4,
            "resets": {"a": 0, "b": 0},
            "at_least": False,
            "minutes_off_ratio": 0,
            "gap_minutes": 0,
            "temp_f": {
                "a": {"min": 120.5, "mean": 120.5, "max": 120.5},
                "b": {"min": 118, "mean": 118, "max": 118},
                "hose": None,
            },
            "pressure_psi_max": {"a": None, "b": None},
        }
    ]
    assert ShiftLog.objects.get().author.role == Role.MANAGER


def test_in_words_it_tells_each_day(made: SprayRig, write: Write) -> None:
    said, code = run("trailer 1", write("day.csv", MORNING))
    assert code == 0
    assert "day.csv: read, 120 rows" in said
    assert "2026-01-12, 0.17 h, A 357 strokes, B 357 strokes, 71.4 gal, 0 min off ratio" in said


def test_again_it_is_known_and_that_is_no_failure(made: SprayRig, write: Write) -> None:
    path = write("day.csv", MORNING)
    first, _ = as_json(1, path)
    again, code = as_json(1, path)
    assert code == 0
    assert again[0]["status"] == "known"
    assert again[0]["days"] == first[0]["days"]
    assert ShiftLog.objects.count() == 1


def test_what_is_open_is_asked_with_its_choices(made: SprayRig, write: Write) -> None:
    path = write("day.csv", BAD)
    (entry,), code = as_json(1, path)
    assert (code, entry["status"], entry["days"]) == (1, "asks", [])
    assert entry["questions"][0]["key"] == "bad_rows"
    assert entry["questions"][0]["choices"] == ["skip", "refuse"]
    said, code = run(1, path)
    assert code == 1
    assert "--answer bad_rows=skip" in said
    assert "line 12: " in said
    assert not ShiftLog.objects.exists()
    (entry,), code = as_json(1, path, "--answer", "bad_rows=skip")
    assert (code, entry["status"], entry["bad_rows"]) == (0, "read", 1)


def test_one_that_asks_or_is_refused_keeps_no_other_back(made: SprayRig, write: Write) -> None:
    entries, code = as_json(
        1, write("noon.csv", NOON), write("bad.csv", BAD), write("no.csv", b""), "gone.csv",
        write("morning.csv", MORNING),
    )  # fmt: skip
    assert code == 1
    assert [entry["status"] for entry in entries] == ["read", "asks", "refused", "refused", "read"]
    assert all(entry["reason"] for entry in entries if entry["status"] == "refused")
    # Both tell of the day as both together leave it, whatever the order.
    assert [entries[n]["days"][0]["strokes_a"] for n in (0, 4)] == [714, 714]


def test_a_zip_gives_an_entry_for_each_file(made: SprayRig, tmp_path: Path) -> None:
    with zipfile.ZipFile(tmp_path / "logs.zip", "w") as archive:
        archive.writestr("2.csv", NOON)
        archive.writestr("1.csv", MORNING)
    entries, code = as_json(1, tmp_path / "logs.zip")
    assert code == 0
    assert [entry["file"] for entry in entries] == ["logs.zip/1.csv", "logs.zip/2.csv"]
    assert ShiftDay.objects.get().strokes_a == 714


def test_a_dry_run_says_the_same_and_writes_nothing(made: SprayRig, write: Write) -> None:
    paths = write("noon.csv", NOON), write("morning.csv", MORNING)
    with nothing_stored():
        looked, code = as_json(1, *paths, "--dry-run", "--keep-layout", "ours")
    assert code == 0
    assert not any(model.objects.exists() for model in (ShiftLog, ShiftDay, Reading, LogLayout))
    done, _ = as_json(1, *paths)
    assert [each["days"] for each in looked] == [each["days"] for each in done]
    said, _ = run(1, write("more.csv", NOON.replace(b"2026-01-12", b"2026-01-13")), "--dry-run")
    assert "more.csv: would be read" in said


def test_a_layout_is_kept_and_used_by_name(made: SprayRig, write: Write) -> None:
    vague = MORNING.replace(b"A strokes,B strokes", b"Count A,Count B")
    path = write("day.csv", vague)
    (entry,), code = as_json(1, path)
    assert (code, entry["questions"][0]["key"]) == (1, "counts")
    _, code = as_json(1, path, "--answer", "counts=strokes", "--keep-layout", "Old controller")
    assert code == 0
    later = write("next.csv", vague.replace(b"2026-01-12", b"2026-01-13"))
    (entry,), code = as_json(1, later, "--layout", "old controller")
    assert (code, entry["status"]) == (0, "read")


def test_an_answer_that_is_no_choice_refuses_the_file(made: SprayRig, write: Write) -> None:
    (entry,), code = as_json(1, write("day.csv", BAD), "--answer", "bad_rows=maybe")
    assert (code, entry["status"]) == (1, "refused")
    assert "Say skip or refuse" in entry["reason"]


def test_contradictions_are_told_and_are_no_failure(made: SprayRig, write: Write) -> None:
    made.read(day(6), b=5_000)
    path = write("day.csv", MORNING)
    (entry,), code = as_json(1, path)
    assert (code, entry["status"], entry["days"][0]["strokes_b"]) == (0, "read", 357)
    (told,) = entry["contradictions"]
    assert (told["date"], told["counter"], told["value"]) == ("2026-01-12", "B strokes", 200)
    assert "Was the counter reset?" in told["words"]
    said, code = run(1, path)
    assert code == 0
    assert "! 2026-01-12, B strokes: the log shows 200. Lower than" in said


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (("99", "day.csv"), "No rig is called “99”. The rigs are: 01 Trailer 1."),
        (("1", "day.csv", "--layout", "mine"), "No layout is kept as “mine”. Kept are: none."),
        (("1", "day.csv", "--answer", "shape=round"), "“shape=round” is no answer"),
        (("1", "day.csv", "--answer", "sides"), "“sides” is no answer"),
        (("1", "day.csv", "--by", "nobody"), "Nobody who may read logs signs in as nobody."),
        (("1",), "required: FILE"),
    ],
)
def test_wrong_use_ends_with_two_and_words(
    made: SprayRig, given: tuple[str, ...], words: str
) -> None:
    with pytest.raises(CommandError) as refused:
        call_command("read_shift_log", *given)
    assert words in str(refused.value)
    assert refused.value.returncode == 2 or "required" in words


@pytest.mark.django_db
def test_without_a_shop_it_says_so() -> None:
    with pytest.raises(CommandError, match="no shop yet") as refused:
        call_command("read_shift_log", "1", "day.csv")
    assert refused.value.returncode == 2


def test_a_technician_may_read_and_an_owner_may_not(
    made: SprayRig, write: Write, technician: Person, owner: Person
) -> None:
    path = write("day.csv", MORNING)
    with pytest.raises(CommandError, match="Nobody who may read logs"):
        call_command("read_shift_log", "1", str(path), by=owner.sign_in)
    _, code = run(1, path, by=technician.sign_in)
    assert code == 0
    assert ShiftLog.objects.get().author == technician
