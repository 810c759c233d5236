"""Who may do what: one row for every address of the site.

`AccessMiddleware` asks this table before any view runs, and templates ask it before they show a
link (`{% if request|may:"shop:people" %}`). An address without a row is refused to everybody, so
that a new page cannot be forgotten here; tests/shop/test_access.py walks all of them.
"""

from dataclasses import dataclass
from typing import Final

from django.contrib.auth.models import AnonymousUser

from shop.models import Person, Role

Who = frozenset[str]

MANAGER: Final[Who] = frozenset({Role.MANAGER})
#: Those who work on rigs. A manager may do whatever a technician may.
CREW: Final[Who] = frozenset({Role.MANAGER, Role.TECHNICIAN})
#: Those who look at money.
OFFICE: Final[Who] = frozenset({Role.MANAGER, Role.OWNER})
#: Anybody who has signed in.
SIGNED_IN: Final[Who] = frozenset(Role.values)
#: Anybody at all, signed in or not.
PUBLIC: Final[Who] = SIGNED_IN | {"anybody"}

NOBODY: Final[Who] = frozenset()
READING_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS"})


@dataclass(frozen=True, slots=True)
class ReadOrChange:
    """A page that more people may look at than may send."""

    read: Who
    change: Who


ACCESS: Final[dict[str, Who | ReadOrChange]] = {
    # shop: getting in
    "shop:sign_in": PUBLIC,
    "shop:sign_out": PUBLIC,
    "shop:welcome": PUBLIC,
    # shop: the shop itself
    "shop:cautions": MANAGER,
    "shop:import": MANAGER,
    "shop:import_confirm": MANAGER,
    "shop:import_template": MANAGER,
    "shop:new_person": MANAGER,
    "shop:own": SIGNED_IN,
    "shop:people": MANAGER,
    "shop:person": MANAGER,
    "shop:settings": MANAGER,
    # shop: what the day asks for. Who has the address of a feed may read it: see shop/feeds.py.
    "shop:calendar": SIGNED_IN,
    "shop:calendar_feed": PUBLIC,
    "shop:due": SIGNED_IN,
    "shop:due_picked": MANAGER,
    "shop:readings_file": SIGNED_IN,
    "shop:isolation": ReadOrChange(read=SIGNED_IN, change=MANAGER),
    "shop:isolation_point": MANAGER,
    "shop:new_isolation_point": MANAGER,
    "shop:jobs": ReadOrChange(read=SIGNED_IN, change=MANAGER),
    "shop:rig": SIGNED_IN,
    "shop:rigs": SIGNED_IN,
    "shop:rig_drawing": SIGNED_IN,
    "shop:round_sheet": SIGNED_IN,
    "shop:round_sheets": SIGNED_IN,
    "shop:today": SIGNED_IN,
    # shop: drawers, labels, looking up
    "shop:drawer": ReadOrChange(read=SIGNED_IN, change=MANAGER),
    "shop:drawers": SIGNED_IN,
    "shop:drawers_file": SIGNED_IN,
    "shop:find": SIGNED_IN,
    "shop:go": SIGNED_IN,
    "shop:labels": SIGNED_IN,
    "shop:labels_file": SIGNED_IN,
    "shop:labels_trial": SIGNED_IN,
    "shop:top_up": CREW,
    # shop: both sides compared
    "shop:dismiss_side": MANAGER,
    "shop:side_forward": MANAGER,
    "shop:side_work": CREW,
    "shop:sides": SIGNED_IN,
    "shop:take_off_forward": MANAGER,
    # shop: sheets. What a phone sends proves its author itself: see shop/services/arriving.
    "shop:entries": PUBLIC,
    "shop:rig_entries": PUBLIC,
    "shop:pick_answer": MANAGER,
    "shop:settle": MANAGER,
    "shop:settle_sheet": MANAGER,
    "shop:unsettled": MANAGER,
    "shop:no_signal": PUBLIC,
    "shop:pack": CREW,
    "shop:worker": PUBLIC,
    "shop:add_part": CREW,
    "shop:advice": SIGNED_IN,
    "shop:follow_advice": MANAGER,
    "shop:reckon_again": MANAGER,
    "shop:answer": CREW,
    "shop:clock": CREW,
    "shop:correct_sheet": MANAGER,
    "shop:draft_sheet": MANAGER,
    "shop:drop_service_part": MANAGER,
    "shop:hand_out": MANAGER,
    "shop:line_note": CREW,
    "shop:keyed": CREW,
    "shop:hand_over": CREW,
    "shop:reserve_again": MANAGER,
    "shop:second_look": MANAGER,
    "shop:service_minutes": MANAGER,
    "shop:service_parts": MANAGER,
    "shop:set_waiting": CREW,
    "shop:sign": CREW,
    "shop:sheet": SIGNED_IN,
    "shop:sheet_pdf": SIGNED_IN,
    # Each photo proves its author by its pen.
    "shop:rig_photo": PUBLIC,
    "shop:sheet_photo": PUBLIC,
    "shop:sheets": SIGNED_IN,
    "shop:sheets_pdf": SIGNED_IN,
    "shop:take_part": CREW,
    "shop:take_parts": CREW,
    "shop:until": CREW,
    "shop:used": CREW,
    "shop:void_sheet": MANAGER,
    "shop:work": CREW,
    # shop: shift logs
    "shop:coming_log": CREW,
    "shop:contradiction": MANAGER,
    "shop:drop_log": CREW,
    "shop:keep_layout": CREW,
    "shop:log_day": SIGNED_IN,
    "shop:log_file": CREW,
    "shop:log_how": SIGNED_IN,
    "shop:log_layouts": CREW,
    "shop:logs": ReadOrChange(read=SIGNED_IN, change=CREW),
    "shop:retire_layout": MANAGER,
    "shop:sending": CREW,
    "shop:withdraw_log": MANAGER,
    # shop: money
    "shop:order_pdf": OFFICE,
    "shop:rig_spend": OFFICE,
    "shop:spend": OFFICE,
    "shop:spend_file": OFFICE,
    "shop:stock_spend": OFFICE,
    # equipment
    "equipment:bookings": ReadOrChange(read=SIGNED_IN, change=MANAGER),
    "equipment:bring_back_service": MANAGER,
    "equipment:cancel_booking": MANAGER,
    "equipment:change_booking": MANAGER,
    "equipment:change_counter": MANAGER,
    "equipment:change_rig": MANAGER,
    "equipment:change_service": MANAGER,
    "equipment:close_finding": MANAGER,
    "equipment:compare_service": SIGNED_IN,
    "equipment:component": SIGNED_IN,
    "equipment:components": SIGNED_IN,
    "equipment:copy_service": MANAGER,
    "equipment:correct_reading": CREW,
    "equipment:exchange": CREW,
    "equipment:finding": ReadOrChange(read=SIGNED_IN, change=CREW),
    "equipment:hose": MANAGER,
    "equipment:known_file": SIGNED_IN,
    "equipment:new_component": MANAGER,
    "equipment:new_component_counter": MANAGER,
    "equipment:new_counter": MANAGER,
    "equipment:new_finding": SIGNED_IN,
    "equipment:new_position": MANAGER,
    "equipment:new_rig": MANAGER,
    "equipment:new_service": MANAGER,
    "equipment:new_service_of": MANAGER,
    "equipment:newer_file": MANAGER,
    "equipment:newer_note": CREW,
    "equipment:paper_week": MANAGER,
    "equipment:photo": SIGNED_IN,
    "equipment:printed_picture": MANAGER,
    "equipment:put_off": MANAGER,
    "equipment:quick_change": CREW,
    "equipment:readings": CREW,
    "equipment:remove_position": MANAGER,
    "equipment:renew": MANAGER,
    "equipment:report": SIGNED_IN,
    "equipment:retire_component": MANAGER,
    "equipment:retire_counter": MANAGER,
    "equipment:retire_service": MANAGER,
    "equipment:reverse_drum": CREW,
    "equipment:reverse_reading": CREW,
    "equipment:rig_setup": CREW,
    "equipment:round": ReadOrChange(read=SIGNED_IN, change=CREW),
    "equipment:seasons": ReadOrChange(read=SIGNED_IN, change=MANAGER),
    "equipment:service": SIGNED_IN,
    "equipment:service_file": MANAGER,
    "equipment:service_note": CREW,
    "equipment:services": SIGNED_IN,
    "equipment:stays": ReadOrChange(read=SIGNED_IN, change=CREW),
    "equipment:take_off_known": MANAGER,
    "equipment:take_off_put_off": MANAGER,
    "equipment:type": SIGNED_IN,
    "equipment:type_file": MANAGER,
    "equipment:type_note": CREW,
    "equipment:undo_exchange": MANAGER,
    "equipment:undo_renewal": MANAGER,
    # inventory
    "inventory:adjust": MANAGER,
    "inventory:buying": ReadOrChange(read=OFFICE, change=MANAGER),
    "inventory:change_part": MANAGER,
    "inventory:change_supplier": MANAGER,
    "inventory:cores": ReadOrChange(read=OFFICE, change=MANAGER),
    "inventory:count": CREW,
    "inventory:counts": CREW,
    "inventory:extend_lot": MANAGER,
    "inventory:invoice": MANAGER,
    "inventory:keeping": SIGNED_IN,
    "inventory:kit_alternates": MANAGER,
    "inventory:kit_lines": MANAGER,
    "inventory:kits": MANAGER,
    "inventory:location": ReadOrChange(read=SIGNED_IN, change=MANAGER),
    "inventory:locations": SIGNED_IN,
    "inventory:lot": SIGNED_IN,
    "inventory:new_location": MANAGER,
    "inventory:new_part": MANAGER,
    "inventory:new_supplier": MANAGER,
    "inventory:new_supplier_part": MANAGER,
    "inventory:order": ReadOrChange(read=OFFICE, change=MANAGER),
    "inventory:orders": OFFICE,
    "inventory:part": SIGNED_IN,
    "inventory:parts": SIGNED_IN,
    "inventory:policy": MANAGER,
    "inventory:receive": MANAGER,
    "inventory:receive_order": MANAGER,
    "inventory:reverse_movement": MANAGER,
    "inventory:rob_kit": CREW,
    "inventory:robbed_kit": MANAGER,
    "inventory:settle_count": MANAGER,
    "inventory:supplier": OFFICE,
    "inventory:supplier_part": MANAGER,
    "inventory:suppliers": OFFICE,
    "inventory:transfer": CREW,
}


def allowed(view_name: str, method: str = "GET") -> Who | None:
    """Return who may visit an address by this method; None where the table has no row for it."""
    row = ACCESS.get(view_name)
    if isinstance(row, ReadOrChange):
        return row.read if method in READING_METHODS else row.change
    return row


def may(person: Person | AnonymousUser | None, view_name: str, method: str = "GET") -> bool:
    """Say whether somebody may visit an address. No row: nobody may."""
    who = allowed(view_name, method) or NOBODY
    if isinstance(person, Person):
        return person.is_active and person.role in who
    return who == PUBLIC


def spoken(who: Who) -> str:
    """Return the people of a row in words, for the page that turns somebody away."""
    names = [f"{Role(role).label.lower()}s" for role in Role.values if role in who]
    return " and ".join(names) or "nobody"
