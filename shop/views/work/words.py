"""What the script of the sheet says: the same words as the page and the services say."""

from django.utils.translation import gettext, pgettext

from equipment.counters import STARTS_AGAIN, WENT_DOWN
from inventory.quantities import BELOW_ZERO, COME_WHOLE, NOT_A_NUMBER
from shop import words
from shop.models import Person
from shop.services.answers import LACKS
from shop.services.drafting import CARRY_FORWARD
from shop.unitwords import A_ABOVE, A_AND_B, A_BELOW, FOUND_AND_LEFT
from shop.views.work.sign import FROM_THE_CLOCKS, FROM_YOUR_CLOCK
from shop.views.work.tabs import COUNTED


def words_of(person: Person) -> dict[str, str | bool]:
    """By name, in the language of the page; figures stand in braces. What is sent back to the shop,
    `carry_forward`, stays as it is kept."""
    return {
        "is_electrician": person.is_electrician,
        "sign": gettext("Sign the sheet"),
        **{f"of_{section}": gettext(text) for section, text in COUNTED.items()},
        "done": pgettext("cautions", "done"),
        "no_parts": pgettext("parts", "none"),
        "and_more": gettext("{named} and {n} more"),
        "now": gettext("now"),
        "enter": pgettext("a value", "Enter"),
        "correct_it": gettext("Correct it"),
        "change": pgettext("a value", "Change"),
        "typed_here": gettext("Typed here, not entered yet."),
        # asked before the signature; each of these is named in it
        "typed_unkept": gettext("Typed and not kept: {named}. Sign all the same?"),
        "typed_next": gettext("note for the next one ({line})"),
        "typed_wait": gettext("what is waited for"),
        "typed_hand_over": gettext("word to hand over"),
        "typed_add": gettext("another part"),
        "typed_found": gettext("found work"),
        "pick_again": gettext("{n} photo was picked here and is not kept: pick it again."),
        "pick_all_again": gettext("{n} photos were picked here and are not kept: pick them again."),
        "not_applicable": gettext("not applicable"),
        "carry_forward": CARRY_FORWARD,
        "found_and_left": gettext(FOUND_AND_LEFT),
        "must_read_zero": gettext("it must read zero"),
        "a_above": gettext(A_ABOVE),
        "a_below": gettext(A_BELOW),
        "a_and_b": gettext(A_AND_B),
        "two_answers": gettext("Two answers were given. Which one holds?"),
        "used_here": gettext("{used} used, {at} {by}, kept here"),
        "taken": gettext("Parts taken to the tray"),
        "taken_here": gettext("Taken to the tray, kept here until there is signal."),
        "added": gettext("{quantity} × {part} from {place}"),
        "added_here": gettext("{quantity} × {part} from {place}, kept here"),
        "used_not_said": gettext(words.USED_NOT_SAID),
        "all_used": gettext("All of it used"),
        "its_place": gettext("its place"),
        "take_off": gettext("Take off"),
        "off": gettext("Taken off: {part}"),
        "is_off": gettext("Taken off."),
        "off_here": gettext("Taken off, {at} {by}, kept here."),
        "scan": gettext("Scan with the camera"),
        "stop_scan": gettext("Stop the camera"),
        "camera_blocked": gettext(
            "The browser was not allowed to use the camera. Type the code instead."
        ),
        "camera_broken": gettext("The camera does not work here. Type the code instead."),
        "start_time": gettext("Start my time"),
        "stop_time": gettext("Stop my time"),
        "goes_on": gettext("Goes on"),
        "note_here": gettext("Note for the next one, kept here: {text}"),
        "waits_here": gettext("Waiting for {text}, {at} {by}, kept here."),
        "goes_on_here": gettext("Goes on, {at} {by}, kept here."),
        "handed_here": gettext("Handed over to {whom}, {at} {by}, kept here: {text}"),
        "handed_any_here": gettext(
            "Handed over to whoever comes next, {at} {by}, kept here: {text}"
        ),
        **found_words(),
        "signature": gettext("Signature"),
        "check_open": gettext("{n} check is open"),
        "checks_open": gettext("{n} checks are open"),
        "open_here": gettext("({n} open here)"),
        "open_of": gettext("of: {titles}"),
        # refused on the phone, in the words of the services
        "locked": gettext(
            "The checks open when each caution is read, each source is locked out and each gauge"
            " reads zero. Still missing: {named}."
        ),
        "again": gettext("{n} again"),
        "do_again": gettext("look again"),
        "go_there": gettext("Go there"),
        "look_again": gettext("Look again first, pressure can come back: {named}."),
        "again_first": gettext(words.DO_AGAIN),
        "comes_first": gettext(words.COMES_FIRST),
        "take_back": gettext("Take it back?"),
        "locks_off": gettext(words.LOCKS_OFF_FIRST),
        "open_returns": gettext("Before the rig goes back to service: {named}."),
        "electrician": gettext("This is for a licensed electrician."),
        "say_why": gettext("Say why it does not apply."),
        "enter_value": gettext("Enter the value that was read."),
        "a_number": gettext("Write a number, like 1182 or 60.5."),
        "reading_kept": gettext("{n} reading kept here, sent when there is signal."),
        "readings_kept": gettext("{n} readings kept here, sent when there is signal."),
        "reading_sent": gettext("{n} reading sent."),
        "readings_sent": gettext("{n} readings sent."),
        "no_reading": gettext("No new reading was typed."),
        # asked about a reading, as the shop asks
        "more_than_usual": gettext(words.MORE_THAN_USUAL),
        "less_than_usual": gettext(words.LESS_THAN_USUAL),
        "since": gettext(words.SINCE),
        "today": gettext("today {time}"),
        "went_down": gettext(WENT_DOWN),
        "starts_again": gettext(STARTS_AGAIN),
        "keep_again": gettext("If it is right, keep it once more as it is."),
        "too_large": gettext("That number is too large."),
        "most_decimals": gettext("At most {n} decimals."),
        "no_quantity": gettext(NOT_A_NUMBER),
        "below_zero": gettext(BELOW_ZERO),
        "come_whole": gettext(COME_WHOLE),
        "used_more": gettext(words.USED_MORE),
        "no_part_used": gettext(words.NO_PART_USED),
        **{lack.value: str(said) for lack, (said, _) in LACKS.items()},
        "say_missing": gettext("Say what is missing."),
        "say_word": gettext("Say in a word what the next one must know."),
        "say_part": gettext("Say which part, and how much."),
        "open_left": gettext(
            "Checks are open. Answer them, or say that these services are left undone."
        ),
        "from_your_clock": gettext(FROM_YOUR_CLOCK),
        "from_the_clocks": gettext(FROM_THE_CLOCKS),
        "say_minutes": gettext("Say how long the work took, in minutes."),
        "say_name": gettext("Write your name to sign."),
        **strip_words(),
    }


def round_words() -> dict[str, str]:
    """What the script of a round says."""
    return {
        "title": gettext("Round, {day}"),
        "shown": gettext("Round of rig {rig}, {day}"),
        "walked": gettext(
            "Walked {at} by {name}, kept here: {right} in order, {wrong} not right,"
            " readings: {read}."
        ),
        "before": gettext("The round of {day} is kept here, walked {at} by {name}."),
        "say_wrong": gettext("Say what is not right."),
        "a_number": gettext("Write a number, like 1182 or 60.5."),
        "waits": gettext("Sent, and waits for a manager"),
        **found_words(),
        **strip_words(),
    }


def found_words() -> dict[str, str]:
    """What is said of found work and its photos, on a sheet and on a round."""
    return {
        "say_found": gettext("Say what you found."),
        "must_not_leave": gettext("rig must not leave"),
        "kept_here": gettext("kept here"),
        "add_photo": gettext("Add a photo"),
        "photo": gettext("{n} photo"),
        "photos": gettext("{n} photos"),
        "photo_sent": pgettext("a photo", "sent"),
        "photo_refused": gettext("A photo was not taken: {words}"),
    }


def strip_words() -> dict[str, str]:
    """What is said of what waits on a phone, and of what it carries."""
    return {
        "no_signal": gettext("No signal."),
        "signal_back": gettext("There is signal again."),
        "entry_kept": gettext("{n} entry kept on this phone."),
        "entries_kept": gettext("{n} entries kept on this phone."),
        "sent_once": gettext("Sent once, when there is signal."),
        "sending": gettext("Sending {n} of {all}"),
        "sent": gettext("All sent, {at}"),
        "nothing_kept": gettext("Nothing waits on this phone."),
        "refused": gettext("Not taken: {n}."),
        "not_lasting": gettext(
            "The browser may clear what it keeps when the phone runs out of space."
        ),
        "carried": gettext("{n} sheets are on this phone and open without signal."),
        "carried_one": gettext("1 sheet is on this phone and opens without signal."),
        "round_carried": gettext("The round of 1 rig opens without signal too."),
        "rounds_carried": gettext("The rounds of {n} rigs open without signal too."),
        "not_carried": gettext("Nothing could be taken along just now."),
        "plain_http": gettext(
            "This page came by plain http: the browser keeps no pages here, so it"
            " opens only with a network."
        ),
    }
