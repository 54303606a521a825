"""The season chart: what falls on the same days of a block can each be read."""

from __future__ import annotations

import datetime as dt
import itertools

from orchard.web.office.chart import BAR, MARK, ROW, Line, Mark, Span, chart, lanes

TODAY = dt.date(2026, 3, 4)


def in_days(number: int) -> dt.date:
    return TODAY + dt.timedelta(days=number)


def expected(bbch: str, since: int, until: int) -> Span:
    return Span(in_days(since), in_days(until), "expected", bbch, f"BBCH {bbch} expected")


def drawn(*marks: Mark, spans: tuple[Span, ...] = (), blocks: int = 1):
    sheet = chart([Line("House Row", "peach", marks, spans)] * blocks, today=TODAY)
    return sheet.rows


def test_two_stages_expected_in_the_same_days_have_bars_under_one_another():
    [row] = drawn(spans=(expected("53", 0, 12), expected("57", 6, 20)))

    first, second = row.spans
    assert second.y - first.y == BAR
    assert second.x < first.x + first.width


def test_a_closed_block_does_not_lie_on_a_stage_that_is_expected():
    closed = Span(in_days(2), in_days(4), "closed", "", "no entry")
    [row] = drawn(spans=(expected("53", 0, 12), closed))

    assert len({one.y for one in row.spans}) == 2


def test_stages_that_follow_each_other_share_a_line():
    [row] = drawn(spans=(expected("53", 0, 6), expected("57", 10, 20)))

    assert len({one.y for one in row.spans}) == 1


def test_the_number_of_a_short_bar_is_not_written_over_by_the_next_bar():
    [row] = drawn(spans=(expected("53", 0, 0), expected("57", 1, 9)))

    assert len({one.y for one in row.spans}) == 2


def test_two_jobs_on_one_day_and_its_last_day_are_three_marks_apart():
    day = [Mark(TODAY, look, text, text) for look, text in (("job", "S"), ("draft", "C"), ("limit", "!"))]
    [row] = drawn(*day)

    heights = sorted(one.y for one in row.marks)
    assert [b - a for a, b in itertools.pairwise(heights)] == [MARK, MARK]


def test_a_block_with_more_to_show_is_higher_and_the_next_begins_below_it():
    many = tuple(expected(str(bbch), 0, 20) for bbch in (51, 53, 55, 57, 59, 60))
    first, second = drawn(spans=many, blocks=2)

    assert first.height > ROW
    assert second.y == first.y + first.height
    assert max(one.y for one in first.spans) + BAR <= second.y


def test_a_lane_is_used_again_as_soon_as_it_is_free():
    assert lanes([(0, 5), (3, 8), (6, 9)]) == [0, 1, 0]
    assert lanes([]) == []
