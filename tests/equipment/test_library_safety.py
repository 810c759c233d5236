"""Every starting service, line by line against the cautions and what its checks open.

`safety_cautions.csv` names in `task_type` the work that each caution belongs to (reference data of
the project; sources in its rows). What a check opens, and for which the rig runs, is our reading:
common practice, no source.
"""

import re

import pytest

from equipment.models import Caution, Check, Service, ServiceVersion, Skill
from equipment.services.library import tasks
from tests.equipment.test_library import ROUND, SERVICES, TASKS, loaded, rows, version_of

pytestmark = pytest.mark.django_db
__all__ = ["loaded"]

FURTHER = rows("further_cautions.csv")
CHECKS = rows("checks.csv")


def codes(row_id: str) -> set[str]:
    return set(version_of(row_id).cautions.values_list("code", flat=True))


def opened(row_id: str) -> set[str]:
    return {each for check in version_of(row_id).checks.all() for each in check.opens}


def has_a_side(version: ServiceVersion) -> bool:
    """Whether its work may be on the A side: only a service of side B alone is not."""
    return version.service.side != "B"


def test_further_cautions_name_a_service_and_a_caution_and_say_why() -> None:
    listed = {row["id"] for row in rows("safety_cautions.csv")}
    seen = set()
    for row in FURTHER:
        assert row["id"] in SERVICES
        assert row["caution"] in listed
        assert row["caution"] not in TASKS[row["id"]]["caution_ids"].split(";")
        assert row["basis"] == "common-practice"
        assert row["why"]
        seen.add((row["id"], row["caution"]))
    assert len(seen) == len(FURTHER)


def test_every_caution_belongs_to_some_work(loaded: int) -> None:
    """Of a service, or of a row of the operator's round."""
    spoken = {code for row_id in ROUND for code in TASKS[row_id]["caution_ids"].split(";")}
    spoken |= {code for row_id in SERVICES for code in codes(row_id)}
    assert spoken >= set(Caution.objects.values_list("code", flat=True))


def test_what_a_service_opens_has_its_caution(loaded: int) -> None:
    for row_id in SERVICES:
        version = version_of(row_id)
        what, spoken = opened(row_id), codes(row_id)
        if "material" in what:
            assert {"SC02", "SC08"} <= spoken, row_id  # gauges at zero; skin and eyes
            assert not has_a_side(version) or "SC07" in spoken, row_id
        if "oil" in what:
            assert {"SC01", "SC04", "SC06"} <= spoken, row_id
        if "air" in what:
            assert "SC03" in spoken, row_id
        if version.is_rebuild:
            assert "material" in what, row_id  # all that the library rebuilds carries A or B


#: Words of a check that mean an opened pressure, unless the check is in NOT_OPENED.
OPENING = re.compile(
    r"packing|piston seal|bore|rod:|ball and seat|screens|strainer|side seal|mix chamber|o-rings"
    r"|whip hose replaced|flushed and filled|return filter|oil changed|hose assemblies|separator"
    r" element|oil and oil filter|fluid section|air motor|filter element|test gauges fitted"
    r"|air valve and piston|strip and clean",
    re.IGNORECASE,
)
NOT_OPENED = {
    ("SI06", "Strainer seals seated; no leak at pressure"),  # closed again, the rig runs
    ("SI55", "Oil and filter changed, no leaks after start"),  # engine oil: no pressure stays in it
}


def test_every_check_that_speaks_of_something_opened_says_what_it_opens() -> None:
    for row in CHECKS:
        speaks = OPENING.search(row["text"]) and (row["id"], row["text"]) not in NOT_OPENED
        assert bool(row["opens"]) == bool(speaks), (row["id"], row["text"])
        assert set(filter(None, row["opens"].split("|"))) <= set(Check.Opens.values)


RUNNING = re.compile(
    r"at rated load|at full load|at load|stall|stroke, 1 minute|no leak|after start|working"
    r" pressure|running|warm|caught|percent of the mean|while spraying|test sheet|cut-out|reseats"
    r"|leak share|dew point|30 percent|coolant heat|no smoke|operated both|trips|test probe"
    r"|pressure drop|trigger returns|filter drop|look of the oil|no air or fluid leak",
    re.IGNORECASE,
)


def test_every_check_that_needs_a_running_rig_says_so() -> None:
    for row in CHECKS:
        speaks = RUNNING.search(row["text"]) and row["text"] != (
            "Oil and filter changed, no leaks after start"
        )
        assert (row["runs"] == "yes") == bool(speaks), (row["id"], row["text"])
        assert not (row["runs"] and row["opens"])


#: Checks inside an electrical enclosure, or on bare conductors (SC16: a licensed electrician).
INSIDE = re.compile(r"element resistance|insulation resistance|terminal|electrical|cut-out", re.I)
NOT_INSIDE = {
    ("SI59", "Terminals clean and tight"),  # of a start battery: SC21
}


def test_work_inside_enclosures_is_for_a_licensed_electrician() -> None:
    for row in CHECKS:
        is_inside = INSIDE.search(row["text"]) and (row["id"], row["text"]) not in NOT_INSIDE
        assert (row["electrician"] == "yes") == bool(is_inside), (row["id"], row["text"])
        if is_inside:
            assert "SC16" in tasks()[row["id"]].caution_ids


#: Services with SC16 that open no enclosure: switches thrown from outside, a test run.
SC16_OUTSIDE = {"SI54", "SI62", "SI63"}


def test_every_service_with_the_shock_caution_has_an_electricians_check(loaded: int) -> None:
    for row_id, task in tasks().items():
        if "SC16" in task.caution_ids:
            theirs = any(check.needs_electrician for check in task.checks)
            assert theirs != (row_id in SC16_OUTSIDE), row_id
    for version in ServiceVersion.objects.filter(skill=Skill.ELECTRICIAN):
        assert version.cautions.filter(code="SC16").exists()


def test_the_task_types_of_the_cautions_reach_the_services_they_name(loaded: int) -> None:
    """Each line: a caution, and all services of the library that its task type names."""
    of_kind = {
        kind: {
            service.library_code
            for service in Service.objects.filter(kind__name=kind).exclude(library_code="")
        }
        for kind in ("compressor", "hydraulic unit", "preheater", "generator", "gun", "heated hose")
    }
    opens = {row_id: opened(row_id) for row_id in SERVICES}
    fluid = {row_id for row_id, what in opens.items() if "material" in what}
    named = {
        "SC01": of_kind["hydraulic unit"],
        "SC02": fluid,
        "SC03": of_kind["compressor"] - {"SI45"},  # belts: no air is opened, SC05 locks it out
        "SC04": (of_kind["preheater"] | of_kind["compressor"]) - {"SI49"} | {"SI41"},
        "SC08": fluid | of_kind["gun"],
        "SC14": of_kind["gun"] | {"SI42", "SI41"},
        "SC30": {"SI24", "SI26"},
        "SC21": {"SI59", "SI60"},
        "SC26": {"SI51", "SI52"},
        "SC20": {"SI48"},
        "SC29": {"SI14", "SI38", "SI48", "SI70"},
        "SC15": {"SI55", "SI61", "SI62"},
        "SC28": {"SI61", "SI62", "SI49"},
        "SC12": {"SI35", "SI51"},
        "SC27": {"SI08", "SI75"},
    }
    for code, services in named.items():
        assert services, code
        missing = {row_id for row_id in services if code not in codes(row_id)}
        assert not missing, code
