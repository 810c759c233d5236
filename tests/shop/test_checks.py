"""Each thing that can be set wrongly is found, named and explained; right settings are silent."""

from pathlib import Path
from typing import Any

import pytest
from django.core.checks import CheckMessage
from django.core.checks.registry import registry

from shop import checks
from shop.models import Shop

KEY = "k" * checks.KEY_LENGTH
OUTSIDE = ["strokebook.example", "localhost"]


@pytest.fixture(autouse=True)
def _sound(settings: Any, tmp_path: Path) -> None:
    settings.SECRET_KEY = KEY
    settings.DEBUG = settings.HTTPS_ONLY = False
    settings.ALLOWED_HOSTS = ["127.0.0.1", "localhost", "[::1]"]
    settings.SECURE_PROXY_SSL_HEADER = None
    settings.DATA_DIR = tmp_path


def found() -> dict[str | None, CheckMessage]:
    ours = (checks.check_safety, checks.check_https_is_seen, checks.check_data_folder)
    return {message.id: message for check in ours for message in check(None)}


def test_sound_settings_are_silent():
    assert found() == {}


def test_a_sound_installation_on_the_network_is_silent(settings: Any):
    settings.ALLOWED_HOSTS = OUTSIDE
    settings.HTTPS_ONLY = True
    settings.SECURE_PROXY_SSL_HEADER = ("HTTP_X_FORWARDED_PROTO", "https")
    assert found() == {}


@pytest.mark.parametrize(
    ("wrong", "expected"),
    [
        ({"SECRET_KEY": KEY[1:]}, {"shop.W001"}),
        ({"DEBUG": True}, set()),
        ({"DEBUG": True, "ALLOWED_HOSTS": OUTSIDE}, {"shop.W002", "shop.W003"}),
        ({"ALLOWED_HOSTS": OUTSIDE}, {"shop.W003"}),
        ({"HTTPS_ONLY": True}, {"shop.W004"}),
        ({"ALLOWED_HOSTS": ["*"]}, {"shop.W003", "shop.W005"}),
    ],
    ids=lambda value: " ".join(sorted(value)),
)
def test_what_is_wrong_is_named(settings: Any, wrong: dict[str, Any], expected: set[str]):
    for name, value in wrong.items():
        setattr(settings, name, value)
    assert found().keys() == expected
    assert all(message.hint for message in found().values())


def test_a_data_folder_that_can_be_made_is_fine(settings: Any, tmp_path: Path):
    settings.DATA_DIR = tmp_path / "not" / "yet"
    assert found() == {}


def test_a_data_folder_of_somebody_else_is_refused(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("os.access", lambda path, mode: False)  # root may write anywhere
    assert found().keys() == {"shop.E006"}


def test_a_data_folder_that_is_a_file_is_refused(settings: Any, tmp_path: Path):
    settings.DATA_DIR = tmp_path / "file"
    settings.DATA_DIR.touch()
    assert found().keys() == {"shop.E006"}


def test_a_time_zone_this_machine_does_not_know_is_refused(shop: Shop):
    assert checks.check_time_zone(None, databases=["default"]) == []
    Shop.objects.update(time_zone="Mars/Olympus_Mons")
    (error,) = checks.check_time_zone(None, databases=["default"])
    assert error.id == "shop.E007"
    assert "Mars/Olympus_Mons" in error.msg
    assert checks.check_time_zone(None, databases=None) == []  # it was not asked for


def test_the_checks_run_at_every_start():
    assert {
        checks.check_safety,
        checks.check_https_is_seen,
        checks.check_data_folder,
        checks.check_time_zone,
    } <= registry.registered_checks
