"""The browser fixtures must bite: a page that breaks the rules is heard, and a good one is not."""

from typing import Any

import pytest
from playwright.sync_api import Page

HEAD = (
    "<!doctype html><html lang=en><head><title>t</title><link rel=icon href='data:,'>"
    "<meta name=viewport content='width=device-width'></head>"
)
GOOD = f"{HEAD}<body><main><h1>Due</h1></main></body></html>"
BAD = (
    f"{HEAD}<body><img src='/missing.png'><img src='http://elsewhere.invalid/a.png'>"
    "<p style='color:red'>x<script>1</script></body></html>"
)


def show(page: Page, body: str, status: int) -> None:
    """Put the body in the place of a page of ours, under the policy that ours have."""
    page.route(
        "**/shown/",
        lambda route: route.fulfill(
            status=status,
            body=body,
            content_type="text/html",
            headers={"Content-Security-Policy": "default-src 'self'; img-src * data:"},
        ),
    )
    page.route("**/*.png", lambda route: route.fulfill(status=404))
    page.goto("/shown/")


@pytest.mark.parametrize("width", [390, 1280])
def test_a_good_page_passes(page_at: Any, expect_axe_clean: Any, width: int):
    page = page_at(width)
    show(page, GOOD, 200)
    assert page.evaluate("innerWidth") == width
    expect_axe_clean(page)


def test_a_bad_page_is_heard(page_at: Any, expect_axe_clean: Any):
    page = page_at(390)
    show(page, BAD, 422)
    with pytest.raises(AssertionError, match="image-alt"):
        expect_axe_clean(page)
    heard = "\n".join(page_at.complaints)
    assert "inline style" in heard
    assert "inline script" in heard
    assert "404" in heard
    assert "asked another host, http://elsewhere.invalid/a.png" in heard
    assert "422" not in heard  # bad input is answered so on purpose
    page_at.complaints.clear()
