"""The chart of measured values: each mark where its figure puts it, and told by shape and word."""

import re
from itertools import pairwise

import pytest

from shop.drawing.values import ChartValue, Line, ValueChart, value_chart

LIMIT = re.compile(r'd="M[\d.]+ ([\d.]+)L[\d.]+ [\d.]+" class="d-none s-oxide"')


def chart(
    *points: tuple[float, float],
    low: float | None = None,
    high: float | None = None,
    trend: Line | None = None,
    meets: tuple[float, str] | None = None,
) -> ValueChart:
    return ValueChart(
        values=tuple(
            ChartValue(
                day,
                value,
                f"day {day:g}",
                is_past=(low is not None and value < low) or (high is not None and value > high),
            )
            for day, value in points
        ),
        unit="psi",
        low=low,
        high=high,
        trend=trend,
        meets=meets,
        label="It rises & rises.",
    )


def dots(svg: str) -> list[tuple[float, float]]:
    found = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="4.5"', svg)
    return [(float(x), float(y)) for x, y in found]


@pytest.mark.parametrize("phone", [False, True])
def test_equal_steps_of_value_and_time_are_equally_far(phone: bool) -> None:
    svg = value_chart(chart((0, 1), (10, 2), (20, 3), high=4), phone=phone)
    (x1, y1), (x2, y2), (x3, y3) = dots(svg)
    assert x2 - x1 == pytest.approx(x3 - x2, abs=0.02)
    assert y1 - y2 == pytest.approx(y2 - y3, abs=0.02)
    assert x1 < x2
    assert y1 > y2
    (limit,) = map(float, LIMIT.findall(svg))
    assert y3 - limit == pytest.approx(y2 - y3, abs=0.02)


def test_a_value_past_its_limit_is_a_triangle_that_points_away_from_the_others() -> None:
    over = value_chart(chart((0, 1), (1, 5), high=4))
    under = value_chart(chart((0, 5), (1, 1), low=2))
    assert len(dots(over)) == len(dots(under)) == 1
    tips = [
        re.search(r'd="M[\d.]+ ([\d.]+)L[\d.]+ ([\d.]+)L[^"]+" class="d-oxide', svg)
        for svg in (over, under)
    ]
    (upward, downward) = [float(tip[1]) < float(tip[2]) for tip in tips if tip]
    assert (upward, downward) == (True, False)


def test_each_limit_stands_with_its_figure() -> None:
    svg = value_chart(chart((0, 1), (1, 2), low=-5, high=5000))
    assert "limit 5,000 psi" in svg
    assert "limit −5 psi" in svg
    assert "limit" not in value_chart(chart((0, 1), (1, 2)))


def test_the_trend_runs_on_broken_to_the_ring_on_its_limit() -> None:
    svg = value_chart(chart((0, 1), (10, 2), high=4, trend=Line(1, 2), meets=(30, "12 Mar")))
    (x1, y1), (x2, y2) = dots(svg)
    ring = re.search(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="6"', svg)
    assert ring
    assert float(ring[1]) - x1 == pytest.approx(3 * (x2 - x1), abs=0.05)
    assert y1 - float(ring[2]) == pytest.approx(3 * (y1 - y2), abs=0.05)
    assert svg.count("stroke-dasharray") == 2
    assert "12 Mar" in svg
    without = value_chart(chart((0, 1), (10, 2), high=4, trend=Line(1, 2)))
    assert 'r="6"' not in without


@pytest.mark.parametrize("points", [[(0, 3)], [(0, 0), (0, 0)], [(0, 1e-4), (1, 2e-4)], [(0, 1e9)]])
def test_one_value_or_equal_ones_are_drawn_within_the_frame(
    points: list[tuple[float, float]],
) -> None:
    svg = value_chart(chart(*points))
    frame = re.search(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)
    assert frame
    left, top, width, height = map(float, frame.groups())
    for x, y in dots(svg):
        assert left < x < left + width
        assert top < y < top + height


def test_days_never_stand_in_each_other() -> None:
    svg = value_chart(chart(*((day / 10, 1.0) for day in range(200)), high=3), phone=True)
    labels = sorted(float(x) for x in re.findall(r'<text x="([\d.]+)"[^>]*>day [\d.]+<', svg))
    assert len(labels) >= 2
    assert all(later - sooner > 40 for sooner, later in pairwise(labels))
    assert "day 0<" in svg
    assert "day 19.9<" in svg


def test_it_is_one_picture_with_one_sentence_and_no_style() -> None:
    svg = value_chart(chart((0, 1)))
    assert 'role="img" aria-label="It rises &amp; rises."' in svg
    assert "style" not in svg
