"""A paper as it is kept for ever with a signature, and back again."""

import dataclasses
from typing import Any

from shop.paper.content import (
    Caution,
    CheckGroup,
    LockoutStep,
    PaperCheck,
    PaperFound,
    PaperPart,
    PaperPicture,
    PaperReading,
    RunNote,
    SheetPaper,
    StripCell,
    ZeroGauge,
)
from shop.services.knowledge import image_of


def paper_to_plain(paper: SheetPaper) -> dict[str, Any]:
    """The paper as plain values, for keeping as JSON; pictures by their key alone, and without
    what corrects it: that comes later."""
    document = dataclasses.asdict(paper)
    del document["corrected_by"]
    for picture in document["pictures"]:
        del picture["image"]
    return document


def paper_from_plain(
    document: dict[str, Any], *, url: str, printed: str, corrected_by: tuple[str, ...] = ()
) -> SheetPaper:
    """The paper that was kept; only the address, the time of printing and which sheets correct it
    are new.

    A sheet kept before the paper said more prints what it says: what it lacks stays empty.
    """

    def each(kind: type, name: str) -> tuple[Any, ...]:
        return tuple(kind(**values) for values in document[name])

    kept = {
        **document,
        "cells": tuple((caption, value) for caption, value in document["cells"]),
        "strip": each(StripCell, "strip"),
        "cautions": each(Caution, "cautions"),
        "lockout": each(LockoutStep, "lockout"),
        "zero_gauges": each(ZeroGauge, "zero_gauges"),
        **{
            name: tuple(map(_group_from_plain, document.get(name, ())))
            for name in ("found_groups", "groups", "run_groups")
        },
        **{
            name: RunNote(**document[name])
            for name in ("found_note", "groups_note", "run_note")
            if document.get(name)
        },
        "parts": each(PaperPart, "parts"),
        "readings": each(PaperReading, "readings"),
        # A sheet signed before phones could sign has none.
        "waits": tuple(document.get("waits", ())),
        "settled": tuple(document.get("settled", ())),
        "found_work": tuple(map(_found_from_plain, document["found_work"])),
        "way_back": tuple(LockoutStep(**step) for step in document.get("way_back", ())),
        "pictures": tuple(
            PaperPicture(**picture, image=image_of(picture["key"]))
            for picture in document.get("pictures", ())
        ),
        "url": url,
        "printed_text": printed,
        "corrected_by": corrected_by,
    }
    return SheetPaper(**kept)


def _group_from_plain(group: dict[str, Any]) -> CheckGroup:
    checks = tuple(
        PaperCheck(**{**check, "choices": tuple(check["choices"])}) for check in group["checks"]
    )
    return CheckGroup(**{**group, "checks": checks, "notes": tuple(group.get("notes", ()))})


def _found_from_plain(found: str | dict[str, Any]) -> PaperFound:
    """Found work was a text alone before it said who found it."""
    return PaperFound(text=found) if isinstance(found, str) else PaperFound(**found)
