"""What sheets keep in English is said in Spanish where it is ours, and stays where it is not."""

import re
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from django.utils.translation import gettext, override
from hypothesis import given
from hypothesis import strategies as st

from equipment.services.library import tasks
from shop import isolation, spoken, words
from shop.isolation import Fitted, Point
from shop.spoken import own
from tests import wording
from tests.shop.test_isolation import WHOLE_RIG

CODES = sorted({*isolation.LOCKOUT_CAUTIONS, *isolation.HEAT_CAUTIONS, "SC16"})
ENERGIES = ["material", "oil", "air"]
KINDS = sorted({each.kind for each in WHOLE_RIG} | {"dryer", "feed pump", "whip hose"})
#: What people write: none of it is a text of ours.
PLACES = st.text(alphabet="xyzñ é0123456789.,;()\"'", min_size=1, max_size=30).map("q{}".format)

rigs = st.lists(
    st.builds(Fitted, st.sampled_from(KINDS), st.sampled_from(["", "A", "B"]), st.integers(0, 40)),
    max_size=8,
)


@st.composite
def sheets(draw: Any) -> list[isolation.Step]:
    """Every step that a sheet of a rig, or of the bench, may have from starting points."""
    codes, opened = draw(st.sets(st.sampled_from(CODES))), draw(st.sets(st.sampled_from(ENERGIES)))
    place = draw(st.just("") | PLACES)
    points = [replace(each, place=place) for each in isolation.starting_points(draw(rigs))]
    steps = isolation.lockout_steps(
        points, caution_codes=codes, opened=opened, inside_enclosures=draw(st.booleans())
    )
    bench = isolation.bench_steps(caution_codes=codes, opened=opened)
    return [*steps, *bench, *isolation.return_steps()]


def english() -> list[re.Pattern[str]]:
    """Each piece of English that shop/isolation can put into a text, as whole words."""
    said = {
        str(each.text)
        for each in wording.said_in("shop")
        if each.file.startswith("shop/isolation/")
    }
    pieces = {piece for text in said for piece in re.split(r"\{\w+\}", text)}
    whole = [piece.strip() for piece in pieces if re.search(r"\w", piece)]
    return [re.compile(rf"(?<!\w){re.escape(each)}(?!\w)") for each in whole]


ENGLISH = english()


@given(sheets())
def test_no_step_of_a_rig_leaves_english_behind(steps: list[isolation.Step]) -> None:
    with override("es"):
        for step in steps:
            for text in (step.title, step.text, step.source):
                said = own(text)
                assert [each.pattern for each in ENGLISH if each.search(said)] == [], said


@given(sheets())
def test_a_place_stays_as_somebody_wrote_it(steps: list[isolation.Step]) -> None:
    with override("es"):
        for step in steps:
            place = re.search(r"\((q.*)\)$", step.text)
            assert place is None or own(step.text).endswith(f"({place[1]})")


@given(st.text() | sheets().flatmap(lambda steps: st.sampled_from([each.text for each in steps])))
def test_in_english_every_text_stays(text: str) -> None:
    with override("en"):
        assert own(text) == text


@given(PLACES, st.sampled_from([", ", "; ", " A", " (", ": ", " of "]), PLACES)
def test_what_people_wrote_stays(one: str, between: str, other: str) -> None:
    text = f"{one}{between}{other}"
    with override("es"):
        assert own(text) == text


@pytest.mark.parametrize(
    "text",
    [
        "Pump, gun",
        "Checked; nothing",
        "at least bring oil",
        "overdue, bring oil",
        "found it",
        "Vitamin B",
        "Look here. (behind the door)",
        "two\r\nlines",
    ],
)
def test_a_sentence_with_a_word_of_ours_is_not_said_by_halves(text: str) -> None:
    with override("es"):
        assert own(text) == text


@pytest.mark.parametrize(
    ("kept", "said"),
    [
        ("due soon, 182 of 250 h", "vence pronto, 182 de 250 h"),
        ("overdue, at least 9 of 8 strokes", "vencido, al menos 9 de 8 carreras"),
        ("due, measured 12 d ago", "vence, medido hace 12 d"),
        ("overdue, no value past its limit", "vencido, ningún valor fuera de su límite"),
        ("clear, 0 d", "al corriente, 0 d"),
        ("found 12 Nov", "encontrado el 12 nov"),
        ("found 3 Dec 2025", "encontrado el 3 dic 2025"),
        ("Stored heat", "Calor almacenado"),
        ("Pump A", "Bomba A"),
        ("(d)(5); common practice, no source", "(d)(5); práctica común, sin fuente"),
        (isolation.RUN_NOTE, None),
        # Why an entry waits for a manager.
        (
            "Not enough of seal (S-1) in K-03: 3 pieces asked, 1 piece there. 2 pieces more there,"
            " but expired. What has expired is used only when a manager says why.",
            "No alcanza seal (S-1) en K-03: se pidieron 3 piezas, hay 1 pieza. Hay 2 piezas más"
            " ahí, pero caducado. Lo caducado se usa solo cuando un encargado dice por qué.",
        ),
        (
            "More than usual: 12 h since 24 Nov 06:40. Is it right?",
            "Más de lo normal: 12 h desde 24 nov 06:40. ¿Es correcto?",
        ),
        (
            "The next reading, 1,218 on 4 Feb 2026, would then be lower than this one. Check both.",
            "La siguiente lectura, 1,218 del 4 feb 2026, quedaría menor que esta. Revise las dos.",
        ),
        ("Lower than 218, read on 4 Feb 2026.", "Menor que 218, leído el 4 feb 2026."),
        (
            "Nobody said how much was used; 1 piece in the tray went back.",
            "Nadie dijo cuánto se usó; se devolvió lo que había en la charola: 1 pieza.",
        ),
        ("Ann Reed may no longer sign in.", "Ann Reed ya no puede iniciar sesión."),
        (
            "The hoses hold 1.20 gal (4.56 L) on each side: heated hose H-1 1.20 gal (4.56 L)."
            " Not known how much it holds: whip hose W-2, hers X-3.",
            "En las mangueras caben 1.20 gal (4.56 L) de cada lado: manguera calefactada H-1 1.20"
            " gal (4.56 L). No se sabe cuánto cabe en: manguera látigo W-2, hers X-3.",
        ),
    ],
)
def test_what_a_sheet_keeps(kept: str, said: str | None) -> None:
    with override("es"):
        assert own(kept) == (said or gettext(kept)) != kept


def test_each_template_is_read_back_by_itself() -> None:
    """One that another catches first would never be said."""
    samples = {
        "use": "12 of 30 h",
        "text": "Cool enough to work on, by its temperature display or a probe.",
    }
    samples |= {"names": "belts", "day": "3 Dec", "order": "4", "side": "A"}
    samples |= {"name": "Gauge", "life": "12", "interval": "30", "unit": "h", "days": "4"}
    samples |= {"number": "12", "gallons": "1.20 gal (4.56 L)", "more_gallons": "2 gal (7.57 L)"}
    samples |= {"lines": "H-1 1.20 gal (4.56 L)", "hoses": "H-2"}
    written = {"place": "by the door", "part": "seal", "parts": "seal, belts", "why": "too dark"}
    written |= {"who": "Ann Reed", "signature": "A. Reed", "people": "Ann Reed, Bo Lund"}
    written |= {"elapsed": "8 h", "known": "box", "lot": "L-2", "typed": "lots"}
    quantities = {"used": ("2 pieces", "2 piezas"), "taken": ("1 set", "1 juego")}
    quantities |= dict.fromkeys(("asked", "quantity", "there"), ("3 pieces", "3 piezas"))
    quantities |= {"counted": ("12", "12"), "since": ("since 24 Dec 06:40", "desde 24 dic 06:40")}
    figures = ("before_reset", "most", "places", "possible", "previous", "rollover", "step")
    samples |= dict.fromkeys((*figures, "later", "units", "value"), "7.5")
    samples |= written | {name: kept for name, (kept, _) in quantities.items()}
    samples |= {"named": "belts", "title": "belts", "sheet": "0012"}
    for template in spoken.COMPOSED:
        names = re.findall(r"\{(\w+)\}", template)
        kept = template.format(**{name: samples[name] for name in names})
        with override("es"):
            told = {name: written.get(name) or own(samples[name]) for name in names}
            told |= {name: said for name, (_, said) in quantities.items() if name in names}
            assert own(kept) == gettext(template).format(**told)


def test_every_word_of_a_state_is_read_back() -> None:
    """A unit or state that is added later is one of those that are known."""
    assert set(words.STATE_TEXTS) == set(words.STATE_WORDS)
    for state, template in words.STATE_TEXTS.items():
        assert template == f"{words.STATE_WORDS[state]}, {{use}}"
        for unit in words.UNITS.values():
            with override("es"):
                assert own(template.format(use=f"at least 3 of 4 {unit}")).startswith(
                    gettext(template).format(use="al menos 3 de 4")
                )


def _library_texts() -> Iterator[str]:
    for task in tasks().values():
        yield task.name["name"]
        yield task.row["task"]


def test_the_library_is_said_in_spanish() -> None:
    with override("es"):
        assert [text for text in _library_texts() if own(text) == text] == []


def test_a_shops_own_point_keeps_its_name_in_the_list() -> None:
    point = Point("Lift gate, rear", "electric", "Pull the red key.", "start", "Nothing moves.")
    steps = isolation.lockout_steps(
        [*isolation.starting_points(WHOLE_RIG), point],
        caution_codes={"SC02"},
        opened={"material"},
        inside_enclosures=False,
    )
    with override("es"):
        said = own(steps[0].text)
    assert "Lift gate, rear" in said
    assert said.startswith("Este equipo: Corriente externa, Generador, Batería de arranque")
    assert "Interruptor de transferencia en la posición 3" in said
    assert "Fluido calentado A, Fluido calentado B" in said
