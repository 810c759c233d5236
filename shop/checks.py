"""System checks: what can be set wrongly in the environment, each with a hint what to set instead.

`manage.py check` runs them, and so does every other command before it starts.
"""

import os
from collections.abc import Sequence
from typing import Any
from zoneinfo import available_timezones

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import DEFAULT_DB_ALIAS, connections

#: Django asks for as many characters in its own deployment check (security.W009).
KEY_LENGTH = 50
LOCAL_HOSTS = {"127.0.0.1", "localhost", "[::1]", "testserver"}


def reachable_from_elsewhere() -> list[str]:
    """The hosts in ALLOWED_HOSTS by which other machines may reach this one."""
    return sorted(set(settings.ALLOWED_HOSTS) - LOCAL_HOSTS)


@register(Tags.security)
def check_safety(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Warn of settings that are only safe while nobody else can reach the program."""
    found: list[CheckMessage] = []
    if len(settings.SECRET_KEY) < KEY_LENGTH:
        found.append(
            Warning(
                f"SECRET_KEY is shorter than {KEY_LENGTH} characters, and might be guessed.",
                hint="Leave SECRET_KEY out: the first start makes a long one and keeps it in "
                "STROKEBOOK_DATA.",
                id="shop.W001",
            )
        )
    hosts = reachable_from_elsewhere()
    if not hosts:
        return found
    if settings.DEBUG:
        found.append(
            Warning(
                f"DEBUG is on, and others may visit by {', '.join(hosts)}: error pages would "
                "show them the settings.",
                hint="Leave DEBUG out, or leave only localhost in ALLOWED_HOSTS.",
                id="shop.W002",
            )
        )
    if not settings.HTTPS_ONLY:
        found.append(
            Warning(
                f"Others may visit by {', '.join(hosts)} without HTTPS: passwords and sessions "
                "can be read on the way, and phones cannot work without signal.",
                hint="Put a web server with HTTPS in front, and set HTTPS_ONLY=true and "
                "BEHIND_HTTPS_PROXY=true.",
                id="shop.W003",
            )
        )
    if "*" in hosts:
        found.append(
            Warning(
                "ALLOWED_HOSTS lets any name through.",
                hint="Name the addresses that people type, separated by commas.",
                id="shop.W005",
            )
        )
    return found


@register(Tags.security)
def check_https_is_seen(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Warn where every page would answer with a redirect to itself."""
    if settings.HTTPS_ONLY and settings.SECURE_PROXY_SSL_HEADER is None:
        return [
            Warning(
                "HTTPS_ONLY is on, but nothing tells the program that a visit came by HTTPS: "
                "behind a web server every page would redirect to itself.",
                hint="Set BEHIND_HTTPS_PROXY=true when the web server in front sends "
                "X-Forwarded-Proto. Silence shop.W004 when gunicorn itself holds the certificate.",
                id="shop.W004",
            )
        ]
    return []


@register(Tags.files)
def check_data_folder(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Refuse to start where the database, pictures and files could not be written."""
    folder = settings.DATA_DIR
    # Not there yet is fine as long as it can be made.
    nearest = next(path for path in (folder, *folder.absolute().parents) if path.exists())
    if nearest.is_dir() and os.access(nearest, os.W_OK | os.X_OK):
        return []
    return [
        Error(
            f"Nothing can be written to {folder}.",
            hint="Set STROKEBOOK_DATA to a folder that the program's own user may write to.",
            id="shop.E006",
        )
    ]


@register(Tags.database)
def check_time_zone(
    app_configs: Any, databases: Sequence[str] | None = None, **kwargs: Any
) -> list[CheckMessage]:
    """Refuse a shop whose time zone this machine does not know (a database moved here)."""
    if DEFAULT_DB_ALIAS not in (databases or ()):
        return []
    from shop.models import Shop

    if Shop._meta.db_table not in connections[DEFAULT_DB_ALIAS].introspection.table_names():
        return []  # not migrated yet
    zone = Shop.objects.values_list("time_zone", flat=True).first()
    if zone is None or zone in available_timezones():
        return []
    return [
        Error(
            f"The shop's time zone, {zone}, is not known on this machine.",
            hint="Update the tzdata package, or choose another zone on the shop's page.",
            id="shop.E007",
        )
    ]
