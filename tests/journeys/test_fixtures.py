"""The browser fixtures must bite: a page that breaks the rules is heard, and a good one is not."""

from typing import Any

import pytest
from django.http import HttpRequest, HttpResponse
from django.urls import path

from shop.models import Person

PAGE = (
    "<!doctype html><html lang=en><head><title>t</title><link rel=icon href='data:,'>"
    "<meta name=viewport content='width=device-width'></head>"
)


def well_behaved(request: HttpRequest) -> HttpResponse:
    return HttpResponse(f"{PAGE}<body><main><h1>{Person.objects.get()}</h1></main></body></html>")


def ill_behaved(request: HttpRequest) -> HttpResponse:
    inner = "<img src='/missing.png'><p style='color:red'>x<script>1</script>"
    return HttpResponse(f"{PAGE}<body>{inner}</body></html>", status=422)


urlpatterns = [path("", well_behaved), path("ill/", ill_behaved)]
# Without the middleware that wants the whole site; with the one that sets the policy.
pytestmark = pytest.mark.urls("tests.journeys.test_fixtures")


@pytest.fixture(autouse=True)
def _policy_only(settings: Any) -> None:
    settings.MIDDLEWARE = ["csp.middleware.CSPMiddleware"]


@pytest.mark.parametrize("width", [390, 1280])
def test_a_good_page_passes(page_at: Any, manager: Person, expect_axe_clean: Any, width: int):
    page = page_at(width)
    page.goto("/")
    assert page.inner_text("h1") == manager.name
    assert page.evaluate("innerWidth") == width
    expect_axe_clean(page)


def test_a_bad_page_is_heard(page_at: Any, expect_axe_clean: Any):
    page = page_at(390)
    page.goto("/ill/")
    with pytest.raises(AssertionError, match="image-alt"):
        expect_axe_clean(page)
    heard = "\n".join(page_at.complaints)
    assert "inline style" in heard
    assert "inline script" in heard
    assert "404" in heard
    assert "422" not in heard  # bad input is answered so on purpose
    page_at.complaints.clear()
