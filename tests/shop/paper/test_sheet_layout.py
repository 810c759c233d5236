"""How the printed sheet lies on its pages."""

from dataclasses import replace

import pytest

from shop.paper.sheet import (
    CheckGroup,
    LockoutStep,
    PageSize,
    PaperCheck,
    PaperFound,
    PaperPart,
    PaperReading,
    StripCell,
    ZeroGauge,
)
from tests.shop.paper.reading import pages_text, read, rules, sizes, text, text_spans
from tests.shop.paper.samples import CAUTIONS, GROUPS, STRIP, sheet, signed_sheet


@pytest.mark.parametrize("page_size", ["letter", "a4"])
def test_no_text_is_below_8_points(page_size: str) -> None:
    # look.md, Print: text 9.75 pt, nothing under 8 pt
    for given in (sheet(void=True, held_text="Held."), signed_sheet()):
        found = sizes(read(given, page_size=page_size))  # type: ignore[arg-type]
        assert min(found) >= 8
        assert 9.75 in found


@pytest.mark.parametrize("page_size", ["letter", "a4"])
@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("repeats", [1, 12])
def test_text_stays_inside_the_margins(repeats: int, language: str, page_size: PageSize) -> None:
    # look.md, Print: margins 12 mm
    margin = 12 * 72 / 25.4
    name = "Überprüfungsprotokollierungsbeauftragte " + "W" * 60
    long = " ".join([name] * repeats)
    given = sheet(
        title=name,
        cells=(("Leaves", name), ("Planned", "W" * 80)),
        strip=tuple(replace(cell, label=name, state_word=name) for cell in STRIP),
        cautions=(
            replace(
                CAUTIONS[0], hazard=long, text=long, source=long, read_text=long, original=long
            ),
        ),
        lockout=(LockoutStep(long, long, long, original=long), LockoutStep(name, name)),
        zero_gauges=(ZeroGauge(name, "A", original=name), ZeroGauge(name, "B", name)),
        language=language,
        groups=(
            CheckGroup(
                long,
                long,
                long,
                (
                    PaperCheck(1, long, "value", long, long, long, hint=long),
                    PaperCheck(2, long, "value", long, electrician=True),
                    PaperCheck(3, long, "choice", choices=(long, "short", name)),
                    PaperCheck(4, long, found_text=long),
                ),
            ),
        ),
        parts=(PaperPart(long, long, long, long, long, long, long, long),),
        readings=(PaperReading(long, long), PaperReading(long, long, long)),
        counters_note=long,
        found_work=(PaperFound(long, True, long),),
        held_text=long,
    )
    for page in read(given, page_size=page_size).pages:
        _, _, width, height = map(float, page.mediabox)
        for x, y, end in text_spans(page):
            assert margin - 0.5 <= x
            assert end <= width - margin + 0.5
            assert margin <= y <= height - margin


def test_sixty_checks_flow_over_pages_without_losing_one() -> None:
    groups = tuple(
        CheckGroup(
            f"{g + 1} Pump P-{g}",
            "packing",
            "due",
            tuple(PaperCheck(g * 6 + n + 1, f"check-{g * 6 + n + 1}.") for n in range(6)),
        )
        for g in range(10)
    )
    reader = read(sheet(groups=groups))
    found = pages_text(reader)
    assert len(found) >= 3
    for number in range(1, 61):
        assert sum(f"check-{number}." in page for page in found) == 1
    assert "Checks, continued" in found[1]
    for count, page in enumerate(found, start=1):
        assert f"Sheet 0412, page {count} of {len(found)}" in page


@pytest.mark.parametrize("filler", range(0, 24))
def test_a_group_head_is_never_parted_from_its_first_check(filler: int) -> None:
    first = CheckGroup(
        "1 Pump", "packing", "", tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    )
    second = CheckGroup("2 Gun GU-7", "rebuild", "due", (PaperCheck(99, "first-of-gun."),))
    found = pages_text(read(sheet(groups=(first, second))))
    assert [page for page in found if "2 Gun GU-7" in page] == [
        page for page in found if "first-of-gun." in page
    ]


@pytest.mark.parametrize("filler", range(0, 30))
def test_the_signature_is_never_alone_on_a_page(filler: int) -> None:
    checks = tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    found = pages_text(read(sheet(groups=(CheckGroup("1 Pump", "", "", checks),))))
    assert "Started" in found[-1]
    assert "needs parts" in found[-1]


def test_a_check_longer_than_a_page_goes_on_over_the_next() -> None:
    story = " ".join(f"word{n}" for n in range(1500))
    reader = read(sheet(groups=(CheckGroup("1 Pump", "packing", "", (PaperCheck(1, story),)),)))
    found = text(reader)
    assert all(f"word{n}" in found for n in range(1500))
    assert len(reader.pages) > 3


def test_sixteen_positions_all_stand_in_the_strip() -> None:
    strip = tuple(StripCell(f"{n} Place{n}", "pump", "A", 0.5, 0.9) for n in range(1, 17))
    found = pages_text(read(sheet(strip=strip)))
    assert all(f"Place{n}" in found[0] for n in range(1, 17))
    assert all("Place" not in page for page in found[1:])


def test_strip_frames_the_worked_positions() -> None:
    # look.md, Print: worked positions framed 2.5
    for worked in (0, 3):
        cells = tuple(replace(cell, worked=n < worked) for n, cell in enumerate(STRIP))
        content = read(sheet(strip=cells)).pages[0].get_contents()
        assert content is not None
        assert content.get_data().count(b"2.5 w") == worked


@pytest.mark.parametrize("filler", range(0, 40, 3))
def test_lines_to_write_on_fill_the_last_page_and_never_make_another(filler: int) -> None:
    checks = tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    given = sheet(groups=(CheckGroup("1 Pump", "", "", checks),))
    pages = read(given).pages
    drawn = rules(pages[-1])
    lowest = min(y for y, _ in drawn if y > 36 + 18)
    assert lowest >= 36 + 18 - 1
    for page in pages:
        assert all(36 <= y <= 792 - 33 for y, _ in rules(page))


@pytest.mark.parametrize("filler", range(26, 40))
def test_found_work_begins_a_page_only_where_three_lines_of_it_do_not_fit(filler: int) -> None:
    """A sheet on the bench, without counters. Heading, hint, three lines, two boxes and the
    signature take 168 pt."""
    checks = tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    groups = (CheckGroup("1 Gun", "", "", checks),)
    pages = read(sheet(groups=groups, readings=(), counters_note="", parts=())).pages
    last = pages[-1].extract_text()
    assert "Found work" in last
    if "fill-" not in last.split("Found work")[0]:
        left = min(y for y, _ in rules(pages[-2]) if y > 36 + 18) - (36 + 18)
        assert left < 168


@pytest.mark.parametrize("page_size", ["letter", "a4"])
def test_much_to_read_before_work_still_leaves_the_checks_to_begin_on_page_two(
    page_size: PageSize,
) -> None:
    # As many as a gun's full rebuild on a rig of nineteen positions has, each as long.
    long = CAUTIONS[0].text
    given = sheet(
        strip=(*STRIP, *STRIP[:9]),
        cautions=tuple(replace(c, text=long) for c in (*CAUTIONS, *CAUTIONS, CAUTIONS[0])),
        lockout=tuple(
            LockoutStep(
                f"Source {n}", "Stop it, open its breaker and lock it; hang your tag on it."
            )
            for n in range(1, 20)
        ),
        groups=GROUPS[:1],
    )
    pages = pages_text(read(given, page_size=page_size))
    assert len(pages) == 2
    assert "Volts at rated load" in pages[1]
    assert pages[0].count(" ".join(long.split()[:4])) == 9
    for number in range(1, 20):
        assert (
            sum(f"{number} Source {number} " in page.replace("\u00a0", " ") for page in pages) == 1
        )


def test_the_rules_of_lockout_and_cautions_go_from_edge_to_edge() -> None:
    reader = read(sheet(groups=(), strip=(), zero_gauges=()))
    content = reader.pages[0]
    inside = 612 - 2 * 12 * 72 / 25.4
    long = {round(y, 1) for y, length in rules(content) if length > inside - 1}
    short = {round(y, 1) for y, length in rules(content) if 100 < length < inside * 0.45}
    found = text(reader)
    assert found.index("1 Shore") < found.index("2 Generator") < found.index("3 Transfer")
    assert len(long) >= 2 + 3
    assert not {y for y in short if y > max(long) - 330}


@pytest.mark.parametrize("filler", range(12, 34, 2))
def test_the_last_check_of_a_group_is_never_alone_on_a_page(filler: int) -> None:
    checks = tuple(PaperCheck(n, f"fill-{n}.") for n in range(filler))
    found = pages_text(read(sheet(groups=(CheckGroup("1 Pump", "", "", checks),))))
    (page,) = [page for page in found if f"fill-{filler - 1}." in page]
    assert f"fill-{filler - 2}." in page


def test_what_stays_the_same_stands_on_the_first_page_alone() -> None:
    first, second = pages_text(read(sheet()))
    assert "Mon 30 Nov, 3 weeks" in first
    assert "Mon 30 Nov, 3 weeks" not in second
    assert "Service sheet 0412" in second
