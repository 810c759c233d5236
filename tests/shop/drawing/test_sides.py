"""The control chart: each mark where its figure puts it, and told by shape and word."""

import re
from itertools import pairwise

import pytest

from shop.drawing.sides import (
    BASELINE,
    LEFT_OUT,
    PAST,
    WATCHED,
    ChartPoint,
    ControlChart,
    control_chart,
)


def chart(*points: ChartPoint) -> ControlChart:
    return ControlChart(label="A stands 3 % over.", points=points)


def circles(svg: str) -> list[tuple[float, float, str]]:
    return [
        (float(x), float(y), fill)
        for x, y, fill in re.findall(
            r'<circle cx="([\d.]+)" cy="([\d.]+)" r="[\d.]+" class="(\S+)', svg
        )
    ]


def test_higher_is_more_of_a_and_equal_steps_are_equally_far() -> None:
    offs = (-1.0, 0.0, 1.0, 2.0)
    svg = control_chart(chart(*(ChartPoint("1 May", WATCHED, off) for off in offs)))
    heights = [y for _, y, _ in circles(svg)]
    gaps = [before - after for before, after in pairwise(heights)]
    assert gaps == pytest.approx([gaps[0]] * 3, abs=0.02)
    assert gaps[0] > 0


def test_each_kind_has_a_shape_of_its_own() -> None:
    ring = control_chart(chart(ChartPoint("1 May", BASELINE, 0.5)))
    dot = control_chart(chart(ChartPoint("1 May", WATCHED, 0.5)))
    assert circles(ring)[0][2] == "d-paper"
    assert circles(dot)[0][2] == "d-ink"
    past = control_chart(chart(ChartPoint("1 May", PAST, 0.5)))
    assert circles(past) == []
    assert "d-oxide" in past
    unread = control_chart(chart(ChartPoint("1 May", LEFT_OUT, None)))
    assert "×" in unread


def test_limits_are_as_far_below_as_above() -> None:
    svg = control_chart(chart(ChartPoint("1 May", WATCHED, 0, average=0, limit=1.5)))
    above, below = re.findall(r'd="M[\d.]+ ([\d.]+)L[\d.]+ [\d.]+" class="d-none s-oxide"', svg)
    zero = circles(svg)[0][1]
    assert zero - float(above) == pytest.approx(float(below) - zero, abs=0.02)
    assert svg.count(">limit<") == 2


def test_a_wild_shift_does_not_flatten_the_others() -> None:
    quiet = [ChartPoint("1 May", WATCHED, 0.5, average=0.1, limit=1.0) for _ in range(5)]
    wild = chart(*quiet, ChartPoint("6 May", WATCHED, 80.0, average=0.7, limit=1.0))
    assert wild.reach() < 5
    assert "d-paper s-ink" in control_chart(wild)


def test_a_fresh_baseline_is_marked_and_breaks_the_average() -> None:
    points = [ChartPoint("1 May", WATCHED, 0, average=0.1, limit=1) for _ in range(3)]
    anew = ChartPoint("4 May", WATCHED, 0, average=0.1, limit=1, begins_anew=True)
    svg = control_chart(chart(*points, anew, points[0]))
    assert svg.count("new baseline") == 1
    assert len(re.findall(r'class="d-none s-ink" stroke-width="3"', svg)) == 2


@pytest.mark.parametrize("phone", [False, True])
def test_it_is_one_image_with_its_sentence_and_no_style(phone: bool) -> None:
    points = tuple(ChartPoint(f"{n} May", WATCHED, 0.1 * n) for n in range(1, 26))
    svg = control_chart(ControlChart("Both <sides>.", points), phone=phone)
    assert 'role="img" aria-label="Both &lt;sides&gt;."' in svg
    assert "style=" not in svg
    assert "25 May" in svg


def test_nothing_to_draw_is_drawn_as_that() -> None:
    assert control_chart(chart()).startswith("<svg")
