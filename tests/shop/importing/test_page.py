"""The page and the command: what would be done is seen before it is."""

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.core.management import CommandError, call_command
from django.test import Client

from equipment.models import Rig
from shop.models import ImportedFile, Person, Role, Shop
from tests.shop.importing.conftest import PARTS, RIGS

pytestmark = pytest.mark.django_db


@pytest.fixture
def client(client_as: Callable[..., Client], settings: Any, tmp_path: Path) -> Client:
    settings.MEDIA_ROOT = tmp_path
    return client_as(Role.MANAGER)


def upload(client: Client, kind: str, content: str | bytes, name: str = "old list.csv") -> Any:
    raw = content.encode() if isinstance(content, str) else content
    return client.post("/import/", {"kind": kind, "file": SimpleUploadedFile(name, raw)})


def test_a_file_is_looked_at_then_imported(client: Client) -> None:
    page = client.get("/import/")
    assert "No file has been imported." in page.text
    look = upload(client, "rigs", RIGS)
    assert look.status_code == 200
    assert "All 2 rows of this file are good." in look.text
    assert "Import 2 rows" in look.text
    assert not Rig.objects.exists()

    sealed = look.context["sealed"]
    done = client.post("/import/confirm/", {"file": sealed}, follow=True)
    assert "Rigs: 2 rows are imported." in done.text
    assert "old list.csv" in done.text
    assert set(Rig.objects.values_list("number", flat=True)) == {4, 7}

    again = client.post("/import/confirm/", {"file": sealed}, follow=True)
    assert "imported already" in again.text
    assert Rig.objects.count() == 2
    assert "imported already" in upload(client, "rigs", RIGS).text


def test_bad_rows_are_listed_and_nothing_can_be_imported(client: Client) -> None:
    look = upload(client, "rigs", RIGS + "x,Third,\n")
    assert look.status_code == 422
    assert "“x” is not a number." in look.text
    assert "2 are good" in look.text
    assert "import/confirm" not in look.text


def test_what_went_wrong_since_the_look_is_told(client: Client) -> None:
    sealed = upload(client, "rigs", RIGS).context["sealed"]
    Rig.objects.create(number=7, name="Meanwhile", created_at="2026-03-02T00:00Z")
    answer = client.post("/import/confirm/", {"file": sealed})
    assert answer.status_code == 422
    assert "1 row cannot be taken, so nothing was imported." in answer.text
    assert "Another rig has this number." in answer.text
    assert Rig.objects.count() == 1


@pytest.mark.parametrize("forged", ["", "nonsense"])
def test_only_a_file_that_was_looked_at_is_imported(client: Client, forged: str) -> None:
    answer = client.post("/import/confirm/", {"file": forged}, follow=True)
    assert "Choose it again." in answer.text


def test_a_file_that_is_gone_is_asked_for_again(client: Client) -> None:
    look = upload(client, "rigs", RIGS)
    default_storage.delete(f"imports/{look.context['outcome'].table.digest}")
    answer = client.post("/import/confirm/", {"file": look.context["sealed"]}, follow=True)
    assert "Choose it again." in answer.text
    assert not Rig.objects.exists()


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"kind": "rigs"}, "Choose a file."),
        ({"file": SimpleUploadedFile("a.csv", RIGS.encode())}, "Choose what is in the file."),
        ({"kind": "rigs", "file": SimpleUploadedFile("a.csv", b"")}, "The file is empty."),
        ({"kind": "rigs", "file": SimpleUploadedFile("a.csv", b"A\n1\n")}, "Rig number"),
        ({"kind": "rigs", "file": SimpleUploadedFile("a.jpg", b"\xff\xd8\x00")}, "neither a CSV"),
    ],
)
def test_what_is_no_such_file_is_said_beside_it(
    client: Client, sent: dict[str, Any], said: str
) -> None:
    answer = client.post("/import/", sent)
    assert answer.status_code == 422
    assert said in answer.text


@pytest.mark.parametrize("way", ["csv", "xlsx"])
def test_an_empty_file_is_downloaded_and_taken_back(client: Client, way: str) -> None:
    answer = client.get(f"/import/rigs/template.{way}")
    assert answer.headers["Content-Disposition"] == f'attachment; filename="rigs.{way}"'
    look = upload(client, "rigs", answer.content, f"rigs.{way}")
    assert "The one row of this file is good." in look.text
    assert client.get("/import/rigs/template.pdf").status_code == 404
    assert client.get("/import/cats/template.csv").status_code == 404


# --- the command ------------------------------------------------------------------------------


@pytest.fixture
def parts(tmp_path: Path) -> Path:
    file = tmp_path / "parts.csv"
    file.write_text(PARTS, encoding="utf-8")
    return file


def run(*args: Any) -> tuple[str, str]:
    out, err = io.StringIO(), io.StringIO()
    call_command("import_file", *args, stdout=out, stderr=err)
    return out.getvalue(), err.getvalue()


def test_the_command_does_what_the_page_does(shop: Shop, manager: Person, parts: Path) -> None:
    assert "All 3 rows are good. Nothing was written." in run("parts", parts, "--check")[0]
    assert not ImportedFile.objects.exists()
    assert "Parts: 3 rows imported." in run("parts", parts, "--by", "MANAGER")[0]
    assert ImportedFile.objects.get().author == manager
    for check in ([], ["--check"]):
        with pytest.raises(CommandError, match="imported already"):
            run("parts", parts, *check)


def test_the_command_lists_bad_rows(shop: Shop, manager: Person, parts: Path) -> None:
    parts.write_text(PARTS + "SK-9,,,,,,,\n", encoding="utf-8")
    for check in ([], ["--check"]):
        err = io.StringIO()
        with pytest.raises(CommandError):
            call_command("import_file", "parts", parts, *check, stdout=io.StringIO(), stderr=err)
        assert "row 5, Part name: This is missing." in err.getvalue()
    assert not ImportedFile.objects.exists()


def test_the_command_wants_a_shop_a_manager_and_a_file(
    db: None, parts: Path, tmp_path: Path, request: pytest.FixtureRequest
) -> None:
    with pytest.raises(CommandError, match="There is no shop yet"):
        run("parts", parts)
    request.getfixturevalue("shop")
    with pytest.raises(CommandError, match="There is no manager who may sign in"):
        run("parts", parts)
    request.getfixturevalue("manager")
    request.getfixturevalue("technician")
    with pytest.raises(CommandError, match="There is no manager who signs in as technician"):
        run("parts", parts, "--by", "technician")
    with pytest.raises(CommandError, match="cannot be read"):
        run("parts", tmp_path / "nowhere.csv")
