"""Advice as it is kept with its figures, and the number found again from them."""

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from inventory.replenishment import (
    Level,
)
from shop.advice.given import Drawer, Given, LateOrder, LeadTime, Need, Terms, Unplanned
from shop.advice.reckoning import Ahead, Classic, Found, Intermittent, reckon


def figures_of(given: Given, found: Found) -> dict[str, Any]:
    """Return what is kept with the advice: plain numbers, words, lists."""
    return {"given": _plain(asdict(given)), "found": _plain(asdict(found))}


def _plain(value: Any) -> Any:
    """Turn keys to words and tuples to lists, as JSON gives them back."""
    if isinstance(value, dict):
        return {str(key): _plain(each) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    return value


def given_of(figures: Mapping[str, Any]) -> Given:
    """Return what was given, from what is kept. Raises KeyError or TypeError for anything else."""
    kept = dict(figures["given"])
    kept["lead_times"] = tuple(LeadTime(**each) for each in kept["lead_times"])
    kept["needs"] = tuple(
        Need(
            **{
                **each,
                "chances": {int(day): tuple(odds) for day, odds in each["chances"].items()},
            }
        )
        for each in kept["needs"]
    )
    kept["drawers"] = tuple(Drawer(**each) for each in kept["drawers"])
    kept["late_orders"] = tuple(
        LateOrder(
            **{**each, "missing": {int(day): chance for day, chance in each["missing"].items()}}
        )
        for each in kept.get("late_orders", ())
    )
    kept["unplanned"] = Unplanned(**kept["unplanned"])
    prices = tuple((packs, cents) for packs, cents in kept["terms"]["prices"])
    kept["terms"] = Terms(**{**kept["terms"], "prices": prices})
    kept["past_steps"] = tuple(kept["past_steps"])
    return Given(**kept)


def found_of(figures: Mapping[str, Any]) -> Found:
    """Return what was found, from what is kept."""
    kept = dict(figures["found"])
    for name in ("at_point", "one_more", "one_fewer"):
        kept[name] = Level(**kept[name]) if kept[name] is not None else None
    kept["bounds"] = tuple(kept["bounds"])
    kept["classic"] = Classic(**kept["classic"]) if kept["classic"] else None
    kept["intermittent"] = Intermittent(**kept["intermittent"]) if kept["intermittent"] else None
    kept["ahead"] = tuple(Ahead(**each) for each in kept["ahead"])
    return Found(**kept)


def recompute(figures: Mapping[str, Any]) -> Found:
    """Return the number once more, from the figures that are kept and shown."""
    return reckon(given_of(figures))
