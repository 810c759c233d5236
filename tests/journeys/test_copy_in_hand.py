"""The technician's copy in hand: in the sun, with gloves, with large text, by plain http."""

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.contrib.staticfiles import finders
from playwright.sync_api import Browser, Page, Playwright, expect

from equipment.models import Rig
from shop.drawing.state import scale
from shop.models import Person, ServiceSheet, SheetStep, StepEntry
from tests.journeys.acting import back_to_service, make_safe, sideways, sign_in_by_form, step
from tests.journeys.conftest import FLAGS, PHONE, SCREENS
from tests.journeys.test_targets import GLOVE, SMALL
from tests.journeys.worlds import JourneyWorld
from tests.journeys.worlds import make_safe as answer_before

#: Every text that is seen, against what is behind it: WCAG 2.2, SC 1.4.6, for large text too. A
#: control that cannot be used is left out, as the criterion says; what is drawn has its fill.
FAINT = """(least) => {
    const channels = (text) => {
        const found = /^rgba?\\(([^)]*)\\)$/.exec(text);
        if (!found) throw new Error(`no colour that we know: ${text}`);
        const [r, g, b, a = 1] = found[1].split(/[ ,/]+/).map(Number);
        return [r, g, b, a];
    };
    const over = ([r, g, b, a], under) =>
        [r, g, b].map((each, place) => each * a + under[place] * (1 - a)).concat(1);
    const luminance = (colour) => {
        const [r, g, b] = colour.map((each) => each / 255)
            .map((each) => each <= 0.04045 ? each / 12.92 : ((each + 0.055) / 1.055) ** 2.4);
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const contrast = (one, other) => {
        const [dark, light] = [luminance(one), luminance(other)].sort((a, b) => a - b);
        return (light + 0.05) / (dark + 0.05);
    };
    const behind = (element) => {
        const above = [];
        for (let each = element; each; each = each.parentElement) {
            above.push(channels(getComputedStyle(each).backgroundColor));
            if (above.at(-1)[3] === 1) break;
        }
        return above.reduceRight((under, colour) => over(colour, under), [255, 255, 255, 1]);
    };
    const faded = (element) => {
        let share = 1;
        for (let each = element; each; each = each.parentElement) {
            share *= getComputedStyle(each).opacity;
        }
        return share;
    };
    const isSeen = (element) =>
        element.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true }) &&
        !element.closest(".visually-hidden, .skip, :disabled");
    const found = [];
    const look = (element, text, colour) => {
        const under = behind(element);
        const [r, g, b, a] = channels(colour);
        const ratio = contrast(over([r, g, b, a * faded(element)], under), under);
        if (ratio < least) found.push(`${ratio.toFixed(2)}: “${text.trim().slice(0, 40)}” in ` +
            element.cloneNode().outerHTML.slice(0, 90));
    };
    const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    let seen = 0;
    while (texts.nextNode()) {
        const element = texts.currentNode.parentElement;
        const text = texts.currentNode.data;
        if (!text.trim() || element.closest("script, style, option") || !isSeen(element)) continue;
        const style = getComputedStyle(element);
        seen += 1;
        look(element, text, element.closest("svg") ? style.fill : style.color);
    }
    for (const element of document.body.querySelectorAll("*")) {
        if (!isSeen(element)) continue;
        const isTyped = /^(text|textarea|select-one|search|tel|email)$/.test(element.type);
        if (isTyped && element.value) {
            look(element, element.value, getComputedStyle(element).color);
        }
        for (const which of ["::before", "::after"]) {
            const style = getComputedStyle(element, which);
            const text = /^"(.+)"$/.exec(style.content)?.[1];
            if (text?.trim()) look(element, text, style.color);
        }
    }
    if (seen < 20) throw new Error(`only ${seen} texts are seen`);
    return found;
}"""

#: Texts that lie on each other or are cut, and what is smaller than its text. What stays at the
#: edge of the window while the page moves under it is left out.
LOST = """() => {
    const isSeen = (element) =>
        element.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true }) &&
        !element.closest(".visually-hidden, .skip, svg, .thumbbar, script, style, option");
    const found = [];
    const boxes = [];
    const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    while (texts.nextNode()) {
        const element = texts.currentNode.parentElement;
        if (!texts.currentNode.data.trim() || !isSeen(element)) continue;
        const range = document.createRange();
        range.selectNodeContents(texts.currentNode);
        for (const { left, right, top, bottom } of range.getClientRects()) {
            const text = texts.currentNode.data.trim().slice(0, 40);
            if (right - left > 1) boxes.push({ left, right, top, bottom, element, text });
        }
    }
    const fields = "input:not([type=hidden]), textarea, select";
    for (const input of document.body.querySelectorAll(fields)) {
        if (!isSeen(input) || getComputedStyle(input).opacity === "0") continue;
        const { left, right, top, bottom } = input.getBoundingClientRect();
        boxes.push({ left, right, top, bottom, element: input, text: `field ${input.name}` });
    }
    const said = ({ text, element }) =>
        `“${text}” in ${element.cloneNode().outerHTML.slice(0, 80)}`;
    boxes.sort((a, b) => a.top - b.top);
    boxes.forEach((one, place) => {
        if (one.left < -1 || one.right > innerWidth + 1) found.push(`out: ${said(one)}`);
        for (const other of boxes.slice(place + 1)) {
            if (other.top > one.bottom - 2) break;
            const wide = Math.min(one.right, other.right) - Math.max(one.left, other.left);
            const high = Math.min(one.bottom, other.bottom) - other.top;
            // Lines of one text may touch: their boxes are higher than their letters.
            const letters = 0.35 * Math.min(one.bottom - one.top, other.bottom - other.top);
            if (wide > 2 && high > letters && one.element !== other.element) {
                found.push(`on each other: ${said(one)} and ${said(other)}`);
            }
        }
    });
    for (const element of document.body.querySelectorAll("*")) {
        if (!isSeen(element)) continue;
        const { overflowX, overflowY } = getComputedStyle(element);
        const text = element.textContent.trim().slice(0, 40);
        if (!text || element.tagName === "HTML") continue;
        const isCut =
            (overflowX !== "visible" && element.scrollWidth > element.clientWidth + 1) ||
            (overflowY !== "visible" && element.scrollHeight > element.clientHeight + 1);
        if (isCut) found.push(`cut: ${said({ text, element })}`);
    }
    if (boxes.length < 20) throw new Error(`only ${boxes.length} texts are seen`);
    return found;
}"""

#: An entry that came back refused while nobody looked, as sending.js leaves it.
REFUSED = """(number) => new Promise((resolve, reject) => {
    const asked = indexedDB.open("strokebook");
    asked.onerror = () => reject(asked.error);
    asked.onsuccess = () => {
        const transaction = asked.result.transaction("entries", "readwrite");
        transaction.objectStore("entries").add({
            event_id: "00000000-0000-4000-8000-000000000001", number, kind: "next", fields: {},
            shown: "Side seal", name: "B. Technician", at: new Date().toISOString(),
            tried: true, state: "refused", words: "This sheet was voided meanwhile.",
        });
        transaction.oncomplete = () => { asked.result.close(); resolve(); };
    };
})"""


@pytest.fixture
def page(
    page_at: Callable[..., Page],
    sign_in_as: Callable[..., Person],
    technician: Person,
    sheet: ServiceSheet,
    silence_is_meant: None,
) -> Page:
    page = page_at(PHONE)
    sign_in_as(page, technician)
    page.goto(f"/sheets/{sheet.number}/work/")
    expect(page.locator("body[data-carried]")).to_be_visible()
    return page


def walked(page: Page, sheet: ServiceSheet) -> Iterator[str]:
    """Through all four parts without signal, each with what it asks and what it refuses."""
    tabs = page.locator("#work-tabs")
    yield "cautions"
    page.context.set_offline(True)
    tabs.get_by_role("link", name=re.compile("^Checks")).click()
    page.locator("section.part:visible button.check-row").first.click()
    expect(page.locator(".row-error:visible")).to_contain_text("The checks open when")
    yield "checks that are locked"
    make_safe(page)
    expect(page.locator("#sending")).to_contain_text("kept on this phone")
    yield "cautions that are read"

    page.get_by_role("link", name="Next: checks").click()
    oil = step(page, "Oil and filter changed")
    oil.get_by_role("button", name="not applicable", exact=True).click()
    oil.get_by_role("button", name="Mark as not applicable").click()
    expect(oil.locator(".row-error")).to_contain_text("Say why")
    volts = step(page, "Volts at rated load")
    volts.get_by_role("textbox", name="Volts").fill("260")
    volts.get_by_role("button", name="Enter").click()
    expect(volts.locator(".row-error")).to_contain_text("out of limit")
    volts.get_by_label("found work").check()
    page.locator("section.part:visible .known > summary").last.click()
    yield "checks with what they ask"
    volts.get_by_label("What you found").fill("regulator drifts")
    volts.get_by_label("Rig must not leave").check()
    volts.get_by_role("button", name="Enter").click()
    expect(page.get_by_role("heading", name="Held: the rig must not leave")).to_be_visible()
    oil.get_by_label("Why it does not apply").fill("changed last week")
    oil.get_by_role("button", name="Mark as not applicable").click()
    expect(oil.locator(".said")).to_contain_text("not applicable: changed last week")
    yield "checks that are done"
    page.locator(".thumbbar a").last.click()
    step(page, "Side seal").get_by_role("button", name="good").click()
    yield "a choice"

    tabs.get_by_role("link", name=re.compile("^Parts")).click()
    page.get_by_text("Another part").click()
    page.get_by_role("button", name="Take it to the tray").click()
    expect(page.locator(".row-error:visible")).to_contain_text("Say which part")
    yield "parts"
    page.get_by_role("button", name="I have taken them to the tray").click()
    page.get_by_label("Used of oil filter").fill("1")
    page.get_by_label("Used of Fluid section kit").fill("1")
    page.get_by_label("Used of oil filter").click()
    yield "parts that are used"

    tabs.get_by_role("link", name="Sign").click()
    page.locator("#report > summary").click()
    page.get_by_role("button", name="Report it").click()
    folded = page.locator("section.part:visible details:not([open]) > summary")
    while folded.count():
        folded.first.click()
    page.locator("[name=signature]").scroll_into_view_if_needed()
    page.get_by_role("link", name="Sign the sheet").click()
    expect(page.locator("#signing .row-error")).to_be_visible()
    page.evaluate(REFUSED, sheet.number)
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(page.locator("#refused")).to_contain_text("This sheet was voided meanwhile.")
    yield "the signature, and what was refused"
    back_to_service(page)
    page.locator("[name=signature]").scroll_into_view_if_needed()
    page.get_by_role("link", name="Sign the sheet").click()
    expect(page.locator("#by-name")).to_be_visible()
    yield "a signature with nothing drawn"


def test_every_text_is_read_in_sunlight_and_every_target_hit_with_a_glove(
    page: Page, sheet: ServiceSheet
) -> None:
    """Contrast of 7:1, in the dark of a trailer too, and 56 px, in all four parts."""
    wrong: list[str] = []
    for state in walked(page, sheet):
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
            wrong += [f"{state}, {scheme}, {each}" for each in page.evaluate(FAINT, 7)]
        wrong += [f"{state}, {each}" for each in page.evaluate(SMALL, GLOVE)]
    assert not wrong, "\n".join(dict.fromkeys(wrong))
    # Its twins: a grey that passes elsewhere, a row as high as its line.
    page.evaluate("document.documentElement.style.setProperty('--ink2', '#757E7A')")
    assert page.evaluate(FAINT, 7)
    assert not page.evaluate(FAINT, 2)
    low = "each => { each.style.minHeight = each.style.padding = 0; }"
    page.locator("#found-keep").evaluate(low)
    assert page.evaluate(SMALL, GLOVE)


#: Words of letters and figures alone that stand on two lines: apart in the middle.
BROKEN = """() => {
    const found = [];
    const texts = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
    for (let text = texts.nextNode(); text; text = texts.nextNode()) {
        const holds = text.parentElement;
        if (!holds.checkVisibility() || holds.closest("script, style, template, svg")) continue;
        for (const { 0: word, index } of text.data.matchAll(/[\\p{L}\\p{N}]{4,}/gu)) {
            const range = document.createRange();
            range.setStart(text, index);
            range.setEnd(text, index + word.length);
            const lines = [...range.getClientRects()].filter((box) => box.width > 0);
            if (new Set(lines.map((box) => Math.round(box.top))).size > 1) found.push(word);
        }
    }
    return found;
}"""


def test_with_text_of_twice_the_size_on_a_narrow_phone_nothing_is_lost(
    page: Page, sheet: ServiceSheet
) -> None:
    """WCAG 2.2, SC 1.4.4 and 1.4.10 at once: 320 px, and every rem doubled; no word broken."""
    Rig.objects.update(name="Nightingale")
    page.reload()
    page.set_viewport_size({"width": 320, "height": 640})
    page.evaluate("document.documentElement.style.fontSize = '200%'")
    wrong: list[str] = []
    for state in walked(page, sheet):
        wrong += [f"{state}, {each}" for each in page.evaluate(LOST)]
        wrong += [f"{state}, broken: {each}" for each in page.evaluate(BROKEN)]
        if out := sideways(page):
            wrong.append(f"{state}, wider than its window: {out}")
    assert not wrong, "\n".join(dict.fromkeys(wrong))
    # Its twins: a heading on what follows it, a text that is cut, one that does not wrap.
    heading = page.locator("#sign h2").last
    heading.evaluate("each => { each.style.marginBottom = '-3rem'; }")
    assert any("on each other" in each for each in page.evaluate(LOST))
    heading.evaluate("each => { each.style.height = '1rem'; each.style.overflow = 'hidden'; }")
    assert any(each.startswith("cut") for each in page.evaluate(LOST))
    heading.evaluate("each => { each.style.width = '120vw'; }")
    assert sideways(page)
    page.locator(".title-block .name").evaluate("each => { each.style.width = '60px'; }")
    page.locator(".title-block .name").evaluate("each => { each.style.minWidth = '0'; }")
    page.locator(".title-block .name").evaluate("each => { each.style.flex = 'none'; }")
    assert any("Nightingale" in each for each in page.evaluate(BROKEN))


#: Texts of the scales that stick out of their drawing or are smaller than 16 px on the screen.
SCALES = """() => [...document.querySelectorAll("svg.scale")].flatMap((scale) => {
    if (!scale.checkVisibility()) return [];
    const { left, right, width } = scale.getBoundingClientRect();
    return [...scale.querySelectorAll("text")].filter((text) => {
        const box = text.getBoundingClientRect();
        const size = text.getAttribute("font-size") * width / scale.viewBox.baseVal.width;
        return box.left < left || box.right > right || size < 16;
    }).map((text) => text.textContent);
})"""


def test_minus_and_plus_fit_the_limits_and_the_scale_is_read(
    page: Page, sheet: ServiceSheet
) -> None:
    SheetStep.objects.filter(sheet=sheet, title="Volts at rated load").update(
        unit="%", low=0, high=2, last_value="1.7"
    )
    page.reload()
    page.get_by_role("link", name=re.compile("^Checks")).click()
    step_ = step(page, "Volts at rated load")
    box, plus, minus = (
        step_.get_by_role("textbox", name="Volts"),
        step_.get_by_role("button", name="more"),
        step_.get_by_role("button", name="less"),
    )
    plus.click()
    expect(box).to_have_value("1.8")  # from the last value
    for width in (320, 390):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate(SCALES) == []
    box.fill("0.15")
    minus.click()
    expect(box).to_have_value("0.05")  # what was typed is not rounded
    minus.click()
    minus.click()
    expect(box).to_have_value("0.00")
    plus.click()
    expect(box).to_have_value("0.10")
    # The twin: letters as large on a scale that is drawn half as wide.
    page.locator("svg.scale:visible").evaluate("each => { each.style.width = '50%'; }")
    assert page.evaluate(SCALES)


#: Where a phone draws the mark of each of these values on a scale. [px]
MARK = """async ([code, drawing, values]) => {
    const module = `data:text/javascript;charset=utf-8,${encodeURIComponent(code)}`;
    const { mark } = await import(module);
    document.body.innerHTML = drawing;
    return values.map((value) => {
        mark(document.querySelector("svg.scale"), value, { isOut: false, word: "now" });
        return parseFloat(document.querySelector("g.now path").getAttribute("d").slice(1));
    });
}"""


def test_a_phone_marks_a_value_where_the_shop_draws_it_however_small(browser: Browser) -> None:
    """On a scale of thousandths as on one of thousands: in its place, and past the limit so."""
    code = Path(str(finders.find("shop/phone/scale.js"))).read_text(encoding="utf-8")
    page = browser.new_page()
    for unit in (1, 1e-3, 1e3):
        low, high, last, within = 0, 5 * unit, 1.2 * unit, 4 * unit
        drawn = scale(within, low, high, last, "in")
        [shop] = [float(x) for x in re.findall(r'<line x1="([0-9.]+)" y1="34"', drawn)]
        limit = max(float(x) for x in re.findall(r'<line x1="([0-9.]+)" y1="26"', drawn))
        empty = scale(None, low, high, last, "in")
        here, past = page.evaluate(MARK, [code, empty, [within, 1.2 * high]])
        assert here == pytest.approx(shop, abs=0.02)
        assert here < limit < past
    page.close()


#: The lines of the label of "Next", and what of it is seen.
LABEL = """() => [...document.querySelectorAll("#thumb a:last-child > span")].map((each) => {
    const high = parseFloat(getComputedStyle(each).lineHeight);
    return Math.round(each.getBoundingClientRect().height / high);
})"""


def test_open_checks_begin_on_the_first_screen_and_next_says_what_is_open_here(
    page: Page, sheet: ServiceSheet, world: JourneyWorld, technician: Person
) -> None:
    long = (
        "found work: Separator blocked, 14 psi across it, no air at the gun after an hour of work"
    )
    answer_before(sheet, by=technician, at=world.now)
    page.goto("about:blank")
    page.goto(f"/sheets/{sheet.number}/work/#line-1")
    page.context.set_offline(True)
    page.evaluate(
        """(label) => {
            document.getElementById("line-2").dataset.nextLabel = label;
            dispatchEvent(new HashChangeEvent("hashchange"));
        }""",
        f"Next: {long}",
    )
    first = page.locator("section.part:visible ul.checks > li").first
    top, thumb = first.bounding_box(), page.locator("#thumb").bounding_box()
    assert top
    assert thumb
    assert top["y"] < 844 * 0.6
    assert top["y"] + 64 < thumb["y"]
    next_ = page.locator("#thumb a").last
    expect(next_).to_have_text(re.compile(r"^Next: found work: .* \(2 open here\)$"))
    assert page.evaluate(LABEL) == [1, 1]
    step(page, "Oil and filter changed").locator("button.check-row").click()
    expect(next_).to_contain_text("(1 open here)")
    volts = step(page, "Volts at rated load")
    volts.get_by_role("textbox", name="Volts").fill("240")
    volts.get_by_role("button", name="Enter").click()
    expect(next_).not_to_contain_text("open here")
    assert page.evaluate(LABEL) == [2, 0]
    # What is right is only changed; what is out of limit is put right.
    expect(volts.locator(".enter")).to_have_text(re.compile("^Change"))
    volts.get_by_role("textbox", name="Volts").fill("260")
    volts.get_by_label("Open found work").check()
    volts.get_by_label("What you found").fill("The regulator drifts.")
    volts.locator(".enter").click()
    expect(volts.locator(".enter")).to_have_text(re.compile("^Correct it"))


HOST = "shop.test"


@pytest.fixture
def by_plain_http(
    playwright: Playwright, chromium: str, live_server: Any, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Page]:
    """A phone that knows the shop by a name: to a browser only localhost is safe without HTTPS."""
    monkeypatch.setattr(settings, "ALLOWED_HOSTS", [*settings.ALLOWED_HOSTS, HOST])
    rules = f"--host-resolver-rules=MAP {HOST} 127.0.0.1"
    browser = playwright.chromium.launch(executable_path=chromium, args=[*FLAGS, rules])
    port = live_server.url.rpartition(":")[2]
    context = browser.new_context(**SCREENS[PHONE], base_url=f"http://{HOST}:{port}")
    context.set_default_timeout(10_000)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    yield page
    browser.close()
    assert not wrong, "\n".join(wrong)


def test_by_plain_http_the_page_says_what_it_cannot_do_and_works_online(
    by_plain_http: Page, sheet: ServiceSheet, technician: Person
) -> None:
    page = by_plain_http
    page.goto(f"/sign-in/?next=/sheets/{sheet.number}/work/")
    sign_in_by_form(page, technician.sign_in)
    expect(page.get_by_role("heading", name="Before you start")).to_be_visible()
    assert page.evaluate("[isSecureContext, 'serviceWorker' in navigator, 'caches' in window]") == [
        False,
        False,
        False,
    ]
    strip = page.locator("#sending")
    expect(strip).to_contain_text("This page came by plain http")
    expect(strip).to_contain_text("opens only with a network")
    page.get_by_role("button", name="I have read this").first.click()
    expect(strip).to_contain_text("All sent")
    expect(strip).to_contain_text("This page came by plain http")
    entry = StepEntry.objects.get(step__sheet=sheet)
    assert entry.author == technician
    assert page.locator("body[data-carried]").count() == 0  # nothing was taken along

    # The network goes while the page is open: what is entered waits in it, and may be cleared.
    page.context.set_offline(True)
    page.get_by_role("button", name="I have read this").first.click()
    expect(strip).to_contain_text("1 entry kept on this phone")
    expect(strip).to_contain_text("The browser may clear what it keeps")
    page.context.set_offline(False)
    page.evaluate("dispatchEvent(new Event('online'))")
    expect(strip).to_contain_text("All sent")
    assert StepEntry.objects.filter(step__sheet=sheet).count() == 2

    page.goto("/")
    expect(page.get_by_text("Nothing could be taken along just now.")).to_be_visible()
    expect(page.locator("#sending")).to_contain_text("This page came by plain http")
