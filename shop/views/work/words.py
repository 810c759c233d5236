"""What the script of the sheet says: the same words as the page and the services say."""

from shop.models import Person
from shop.services.drafting import CARRY_FORWARD


def words_of(person: Person) -> dict[str, str | bool]:
    """By name; figures stand in braces."""
    return {
        "is_electrician": person.is_electrician,
        "sign": "Sign the sheet",
        "of": "{n} of {all}",
        "done": "done",
        "and_more": "{named} and {n} more",
        "now": "now",
        "enter": "Enter",
        "correct_it": "Correct it",
        "not_applicable": "not applicable",
        "carry_forward": CARRY_FORWARD,
        "must_read_zero": "it must read zero",
        "kept_here": "kept here",
        "two_answers": "Two answers were given. Which one holds?",
        "used_here": "{used} used, {at} {by}, kept here",
        "taken": "Parts taken to the tray",
        "taken_here": "Taken to the tray, kept here until there is signal.",
        "added_here": "{quantity} × {part} from {place}, kept here",
        "start_time": "Start my time",
        "stop_time": "Stop my time",
        "goes_on": "Goes on",
        "note_here": "Note for the next one, kept here: {text}",
        "photo": "{n} photo",
        "photos": "{n} photos",
        "must_not_leave": "rig must not leave",
        "signature": "Signature",
        "check_open": "{n} check is open",
        "checks_open": "{n} checks are open",
        "open_of": "of: {titles}",
        # refused on the phone, in the words of the services
        "locked": "The checks open when each caution is read, each source is locked out and each"
        " gauge reads zero. Still missing: {named}.",
        "look_again": "Look again first, pressure can come back: {named}.",
        "open_returns": "Before the rig goes back to service: {named}.",
        "electrician": "This is for a licensed electrician.",
        "say_why": "Say why it does not apply.",
        "enter_value": "Enter the value that was read.",
        "say_remedy": "The value is out of limit. Say what you did about it.",
        "say_found": "Say what you found.",
        "say_part": "Say which part, and how much.",
        "open_left": "Checks are open. Answer them, or say that these services are left undone.",
        "say_minutes": "Say how long the work took, in minutes.",
        "say_name": "Write your name to sign.",
        # the strip on top
        "no_signal": "No signal.",
        "entry_kept": "{n} entry kept on this phone.",
        "entries_kept": "{n} entries kept on this phone.",
        "sent_once": "Sent once, when there is signal.",
        "sending": "Sending {n} of {all}",
        "sent": "All sent, {at}",
        "nothing_kept": "Nothing waits on this phone.",
        "refused": "Not taken: {n}.",
        "not_lasting": "The browser may clear what it keeps when the phone runs out of space.",
        "carried": "{n} sheets are on this phone and open without signal.",
        "carried_one": "1 sheet is on this phone and opens without signal.",
        "not_carried": "Nothing could be taken along just now.",
        "plain_http": "This page came by plain http: the browser keeps no pages here, so it opens"
        " only with a network.",
    }
