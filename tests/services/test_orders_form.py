"""One order by hand: the same checks as in a file, every change kept."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import pytest

from sowbench.bootstrap import open_desk
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.desk import TODAY_SETTING, Desk
from sowbench.services.orders_form import order_form, save_order, set_status
from sowbench.services.orders_one import (
    N_DROPS,
    N_DROPS_EARLIER,
    OrderView,
    StandingView,
    order_view,
)

LEEKS = {"crop": "leek", "plants": "600", "wanted_on": "2027-05-20", "customer": "Long Field"}


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """An empty book on 9 March 2027."""
    with open_desk(tmp_path / "book") as opened:
        with opened.book.writing() as unit:
            unit.settings.put(TODAY_SETTING, "2027-03-09")
            unit.commit()
        yield opened


def test_an_order_without_a_name_gets_one_that_is_free(desk: Desk) -> None:
    first, form = save_order(desk, "", LEEKS)
    second, _ = save_order(desk, "", LEEKS)

    assert form is None
    assert first != second
    page = order_view(desk, first)
    assert isinstance(page, OrderView)
    assert page.order.plants == 600
    assert page.line.words == ""


def test_what_is_wrong_is_said_beside_its_field_and_nothing_is_kept(desk: Desk) -> None:
    wrong = {**LEEKS, "crop": "leak", "plants": "0", "wanted_on": "5/20/2027"}

    _, form = save_order(desk, "", wrong)

    assert form is not None
    assert set(form.problems) == {"crop", "plants", "wanted_on"}
    assert form.values["plants"] == "0"
    with desk.book.reading() as unit:
        assert not unit.orders.all()


def test_a_name_that_is_taken_is_refused(desk: Desk) -> None:
    save_order(desk, "", {**LEEKS, "order": "leeks"})

    _, form = save_order(desk, "", {**LEEKS, "order": "leeks", "plants": "9"})

    assert form is not None
    assert "already" in form.problems["order"]


def test_a_change_is_kept_with_what_was_before(desk: Desk) -> None:
    save_order(desk, "", {**LEEKS, "order": "leeks"})
    form = order_form(desk, "leeks")

    save_order(desk, "leeks", {**form.values, "plants": "700"}, person="Ana")

    page = order_view(desk, "leeks")
    assert isinstance(page, OrderView)
    assert [(each.person, each.is_new) for each in page.changes] == [("Ana", False), ("", True)]
    (field,) = page.changes[0].fields
    assert (field.field, field.before, field.after) == ("plants", "600", "700")


def test_a_standing_order_is_shown_drop_by_drop_and_one_can_be_changed(desk: Desk) -> None:
    repeats = {"order": "weekly", "repeat_every_d": "7", "repeat_until": "2027-06-03"}
    save_order(desk, "", {**LEEKS, **repeats})
    form = order_form(desk, "weekly/2027-05-27")
    save_order(desk, "weekly/2027-05-27", {**form.values, "plants": "900"})

    page = order_view(desk, "weekly")

    assert isinstance(page, StandingView)
    assert [each.plants for each in page.drops] == [600, 900, 600]
    drop = order_view(desk, "weekly/2027-05-27")
    assert isinstance(drop, OrderView)
    assert drop.order.standing_of == "weekly"


def test_a_long_standing_order_is_shown_in_windows_that_lead_through_it(desk: Desk) -> None:
    repeats = {"wanted_on": "2027-01-28", "repeat_every_d": "1", "repeat_until": "2027-05-07"}
    save_order(desk, "", {**LEEKS, **repeats, "order": "daily"})

    first = page = order_view(desk, "daily")
    assert isinstance(first, StandingView)
    assert isinstance(page, StandingView)
    shown = [each.wanted_date for each in page.drops]
    assert page.standing.n_drops == 100
    assert shown[0] == date(2027, 3, 9) - timedelta(days=N_DROPS_EARLIER)
    assert len(shown) == N_DROPS_EARLIER + N_DROPS
    while page.after:
        page = order_view(desk, "daily", after=page.after)
        assert isinstance(page, StandingView)
        assert len(page.drops) <= N_DROPS
        shown += [each.wanted_date for each in page.drops]
    page = first
    while page.before:
        page = order_view(desk, "daily", before=page.before)
        assert isinstance(page, StandingView)
        assert len(page.drops) <= N_DROPS
        shown = [*(each.wanted_date for each in page.drops), *shown]
    assert shown == [date(2027, 1, 28) + timedelta(days=each) for each in range(100)]
    one = order_view(desk, "daily/2027-04-01")
    assert isinstance(one, OrderView)
    assert one.drops[N_DROPS_EARLIER].wanted_date == date(2027, 4, 1)
    assert len(one.drops) <= N_DROPS_EARLIER + N_DROPS


def test_an_order_is_cancelled_with_its_reason_and_wanted_again(desk: Desk) -> None:
    save_order(desk, "", {**LEEKS, "order": "leeks"})

    set_status(desk, "leeks", "cancelled", "field is flooded")
    cancelled = order_view(desk, "leeks")
    set_status(desk, "leeks", "promised")
    again = order_view(desk, "leeks")

    assert isinstance(cancelled, OrderView)
    assert isinstance(again, OrderView)
    assert not cancelled.is_open
    assert cancelled.changes[0].reason == "field is flooded"
    assert again.is_open


def test_cancelling_a_standing_order_leaves_the_drops_that_have_passed(desk: Desk) -> None:
    repeats = {"wanted_on": "2027-03-01", "repeat_every_d": "7", "repeat_until": "2027-03-15"}
    save_order(desk, "", {**LEEKS, **repeats, "order": "weekly"})

    set_status(desk, "weekly", "cancelled")

    page = order_view(desk, "weekly")
    assert isinstance(page, StandingView)
    assert [each.status for each in page.drops] == ["promised", "promised", "cancelled"]


def test_an_order_that_is_not_there_is_said_so(desk: Desk) -> None:
    with pytest.raises(UnknownNameError):
        order_view(desk, "nothing")
    with pytest.raises(UnknownNameError):
        set_status(desk, "nothing", "cancelled")
    with pytest.raises(OutOfRangeError):
        set_status(desk, "nothing", "gone")
