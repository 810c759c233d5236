"""The colours keep their contrast.

Source of the formula and of the limits: WCAG 2.2, "relative luminance" and "contrast ratio";
SC 1.4.3 (text 4.5), SC 1.4.6 (enhanced 7, the technician's pages), SC 1.4.11 (frames 3).
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

STATIC = Path(__file__).resolve().parents[3] / "shop" / "static" / "shop"
CSS = (STATIC / "tokens.css").read_text()
TOKEN = re.compile(r"--([a-z0-9-]+):\s*(#[0-9A-Fa-f]{6});")
PAPERS = ("sheet", "canary", "ledger", "bench")

LIGHT = dict(TOKEN.findall(CSS.split("@media (prefers-color-scheme: dark)")[0]))
SYSTEM_DARK = dict(TOKEN.findall(CSS.split("@media (prefers-color-scheme: dark)")[1].split("}")[0]))
CHOSEN_DARK = dict(TOKEN.findall(CSS.split(':root[data-theme="dark"] {')[1].split("}")[0]))
THEMES = {"light": LIGHT, "dark": LIGHT | CHOSEN_DARK}


def luminance(colour: str) -> float:
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_against_known_pairs() -> None:
    # WCAG 2.2: white on black is 21:1 and #767676 on white is the lightest grey that passes 4.5.
    assert contrast("#ffffff", "#000000") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("text", ["ink", "ink2", "written", "oxide"])
def test_text_reads_on_every_paper(theme: str, paper: str, text: str) -> None:
    tokens = THEMES[theme]
    least = 4.5 if paper == "bench" else 7
    assert contrast(tokens[text], tokens[paper]) >= least


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("paper", PAPERS)
def test_frames_of_fields_are_seen(theme: str, paper: str) -> None:
    assert contrast(THEMES[theme]["line"], THEMES[theme][paper]) >= 3


@pytest.mark.parametrize("theme", THEMES)
def test_words_on_filled_shapes_read(theme: str) -> None:
    tokens = THEMES[theme]
    assert contrast(tokens["sheet"], tokens["ink"]) >= 7
    assert contrast(tokens["sheet"], tokens["oxide"]) >= 7
    assert contrast(tokens["ink"], tokens["steel"]) >= 7
    assert contrast(tokens["on-brass"], tokens["brass"]) >= 7


def test_a_chosen_dark_is_the_systems_dark() -> None:
    assert CHOSEN_DARK == SYSTEM_DARK
    assert len(CHOSEN_DARK) == 12


@pytest.mark.parametrize("sheet", sorted(STATIC.glob("*.css")), ids=lambda path: path.name)
def test_style_comes_from_this_host_only(sheet: Path) -> None:
    for address in re.findall(r"url\(([^)]*)\)|@import\s+(\S+)", sheet.read_text()):
        assert not any(part.strip("\"'").startswith(("http", "//", "data:")) for part in address)


@pytest.mark.parametrize("sheet", sorted(STATIC.glob("*.css")), ids=lambda path: path.name)
def test_every_colour_is_a_token(sheet: Path) -> None:
    if sheet.name != "tokens.css":
        assert not re.findall(r"#[0-9A-Fa-f]{3,8}\b(?!\w)", sheet.read_text())


def test_every_class_of_a_drawing_has_its_rule() -> None:
    """A class without a rule would draw black on dark paper."""
    rules = (STATIC / "drawing.css").read_text()
    drawing = STATIC.parents[1] / "drawing"
    used = set()
    for module in drawing.glob("*.py"):
        used |= set(re.findall(r"\b[dst]-[a-z][a-z0-9-]*\b", module.read_text()))
    assert "d-ink" in used, "the drawings use no class, so this test looks in the wrong place"
    assert not {name for name in used if not re.search(rf"\.{name}\b", rules)}
