"""Looking back on a season: the page, its file, its workings, and what other choices cost."""

import csv
import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from litestar import Litestar
from litestar.testing import TestClient
from tests.small_book import BASIL, KALE, LETTUCE, NOW, entry, entry_id, small_desk
from tests.web.pages import page, queries, words

from sowbench.domain.journal import EntryKind
from sowbench.domain.look_back import figures_of, grouped
from sowbench.domain.records import Order
from sowbench.services.desk import Desk
from sowbench.services.look_back import SeasonBack, season_back
from sowbench.services.look_back_choices import season_choices
from sowbench.services.look_back_page import GROUPS, BackFilter, back_table, back_view

YEAR = (date(2027, 1, 1), date(2027, 12, 31))
AFTER = date(2027, 3, 12)
PACKED = date(2027, 3, 10)
LOOKED = "/season/back?from=2027-01-01&to=2027-12-31"


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Desk]:
    """The small book, its lettuce counted and given to both of its orders."""
    with small_desk(tmp_path) as desk:
        write(
            desk,
            entry("count", date(2027, 2, 18), EntryKind.COUNTED, LETTUCE, n=118, n_of=128),
            entry("give 1", PACKED, EntryKind.DELIVERED, LETTUCE, n=90, order="L1"),
            entry("give 2", PACKED, EntryKind.DELIVERED, LETTUCE, n=24, order="L2",
                  values={"last": 1}),
        )  # fmt: skip
        with desk.book.writing() as unit:
            unit.settings.put("today", AFTER.isoformat())
            unit.commit()
        yield desk


def write(desk: Desk, *entries: Any) -> None:
    """Add entries to the journal."""
    with desk.book.writing() as unit:
        unit.journal.add(list(entries), NOW)
        unit.commit()


def season(desk: Desk) -> SeasonBack:
    """Look back on the year."""
    with desk.book.reading() as unit:
        return season_back(unit, *YEAR, AFTER)


def test_a_small_season_is_what_a_hand_reckons(small: Desk):
    found = season(small)
    total = found.total
    # L1 wanted 90 and had 90; L2 wanted 30 and had 24; both on their day.
    assert (total.promised, total.given, total.on_time, total.short) == (120, 114, 114, 6)
    assert (total.n_orders, total.n_full, total.n_sowings) == (2, 1, 1)
    assert (total.n_cells, total.n_seeds, total.n_right, total.n_seen) == (128, 128, 118, 128)
    tray = found.catalog.containers["plug-128"]
    # One tray on the south bench from 9 February to 10 March: 29 nights.
    assert total.position_days == pytest.approx(29)
    assert total.m2_days == pytest.approx(29 * tray.area_m2)
    # Seed at the handbook's price, a tray, its label, and mix with a tenth wasted.
    price = found.catalog.crops["lettuce"].seed_price_per_1000
    assert total.money["seed"] == pytest.approx(128 * price / 1000)
    uses = 20 if tray.reusable else 1
    assert total.money["container"] == pytest.approx(tray.price / uses + 0.02)
    assert total.money["mix"] == pytest.approx(128 * tray.cell_volume_ml / 1000 * 1.1 * 0.08)
    assert total.money["short"] == pytest.approx(6 * 0.60)
    # 12 minutes of water on 8 March for what stood on the bench: four trays of 128, one of 512.
    big = found.catalog.containers["plug-512"].area_m2
    share = tray.area_m2 / (4 * tray.area_m2 + big)
    assert total.minutes == pytest.approx(12 * share)
    assert (found.n_open_orders, found.n_open_sowings) == (4, 3)


def test_a_correction_takes_the_place_of_what_it_corrects(small: Desk):
    write(small, entry("mended", PACKED, EntryKind.DELIVERED, LETTUCE, n=80, order="L1",
                       corrects=entry_id("give 1")))  # fmt: skip
    assert (season(small).total.given, season(small).total.short) == (104, 16)


def test_minutes_that_were_written_down_go_before_those_planned(small: Desk):
    with small.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        key = next(
            each.key for each in unit.sowings_page.jobs(head.id, LETTUCE) if each.task == "pack"
        )
    before = season(small).total.minutes
    write(small, entry("packed", PACKED, EntryKind.NOTED, LETTUCE, job=key))
    assert season(small).total.minutes == pytest.approx(before + 8.0)
    write(small, entry("told", PACKED, EntryKind.NOTED, LETTUCE, job=key,
                       corrects=entry_id("packed"), values={"minutes_worked": 21.0}))  # fmt: skip
    assert season(small).total.minutes == pytest.approx(before + 21.0)
    assert season(small).total.minutes_told == pytest.approx(21.0)


def test_a_job_ticked_off_order_by_order_takes_its_minutes_once(small: Desk):
    with small.book.reading() as unit:
        head = unit.plans.current()
        assert head is not None
        key = next(
            each.key for each in unit.sowings_page.jobs(head.id, LETTUCE) if each.task == "pack"
        )
    before = season(small).total.minutes
    write(
        small,
        entry("part 1", PACKED, EntryKind.NOTED, LETTUCE, job=f"{key}/L1"),
        entry("part 2", PACKED, EntryKind.NOTED, LETTUCE, job=f"{key}/L2"),
    )
    assert season(small).total.minutes == pytest.approx(before + 8.0)


@pytest.mark.parametrize("by", GROUPS)
def test_groups_add_up_to_the_season(demo_desk: Desk, by: str):
    view = back_view(demo_desk, BackFilter(by=by, first=YEAR[0], last=YEAR[1]))
    assert view.groups
    for name in ("promised", "given", "on_time", "short", "raised", "n_seeds", "m2_days"):
        summed = sum(getattr(each.figures, name) for each in view.groups)
        assert summed == pytest.approx(getattr(view.total, name)), name
    money = sum(each.figures.total for each in view.groups)
    assert money == pytest.approx(view.total.total)
    assert sum(value for _, _, value in view.parts) == pytest.approx(view.total.total)


def test_other_choices_go_the_way_they_must(demo_desk: Desk):
    with demo_desk.book.reading() as unit:
        found = season_back(unit, *YEAR, demo_desk.today())
    every = season_choices(found, found.grown, found.spending)
    assert every
    for each in every:
        taken, total = each.choices[0], {way.words: way for way in each.choices}
        assert taken.words == "as it was"
        assert taken.parts["seed"] == pytest.approx(each.sowing.money["seed"])
        assert each.saved >= 0
        assert each.best.total == pytest.approx(min(way.total for way in each.choices), rel=0.011)
        more = total["a tray more"]
        assert more.expected_short <= taken.expected_short + 1e-9
        assert more.parts["seed"] > taken.parts["seed"]
        if "a tray less" in total:
            assert total["a tray less"].expected_short >= taken.expected_short - 1e-9
        # The stand that was counted is the stand that is reckoned with.
        right = taken.expected_usable / taken.n_cells / each.kept_frac
        assert right == pytest.approx(each.sowing.n_right / each.sowing.n_seen, abs=1e-6)


def test_the_page_shows_figures_charts_choices_and_workings(demo_client: TestClient[Litestar]):
    shown = page(demo_client, LOOKED)
    assert "promised were given" in words(shown.h1)
    assert len(shown.select("script.chart")) == 2
    assert shown.select_one("#choices table")
    addresses = {each["data-working"] for each in shown.select("button.working")}
    for figure in ("given", "on-time", "stand", "seed", "room", "cost", "money"):
        mine = [each for each in addresses if each.startswith(f"/working/back/{figure}?")]
        assert mine, figure
        answer = demo_client.get(min(mine))
        assert answer.status_code == 200
        assert "How it is reckoned" in answer.text
    assert demo_client.get("/working/back/nothing").status_code == 404
    assert demo_client.get("/working/back/given?by=crop&of=nothing").status_code == 404
    assert page(demo_client, "/season").select_one('a[href="/season/back"]')


def test_a_season_without_anything_says_what_it_will_show(client: TestClient[Litestar]):
    shown = page(client, "/season/back?from=soon&by=color")
    assert "Nothing of this season is over yet" in words(shown.h1)
    assert shown.select_one(".empty")
    assert client.get("/season/back.csv").status_code == 200


def test_the_file_has_a_row_a_group_and_nothing_that_calculates(small: Desk):
    with small.book.writing() as unit:
        order = unit.orders.get("L1")
        assert isinstance(order, Order)
        changed = Order(**{name: getattr(order, name) for name in Order.__slots__}
                        | {"customer": "=1+1"})  # fmt: skip
        unit.orders.put([changed], NOW, "Ana", "a name")
        unit.commit()
    data = back_table(small, BackFilter("customer", first=YEAR[0], last=YEAR[1])).decode()
    rows = list(csv.DictReader(io.StringIO(data)))
    assert {each["customer"] for each in rows} == {"'=1+1", "Long Acre", "all"}
    assert sum(int(each["given"]) for each in rows) == 2 * 114


def test_only_what_is_asked_for_is_shown(small: Desk):
    view = back_view(small, BackFilter(crop="leek", first=YEAR[0], last=YEAR[1]))
    assert view.groups == ()
    lines = season(small).lines
    assert set(grouped(lines, "container")) == {"plug-128"}
    assert figures_of(lines).n_full == 0  # without the orders nothing is known to be full


def test_queries_do_not_grow_with_the_season(small: Desk):
    # An entry that no other test writes, so that nothing kept answers.
    write(small, entry("only here", AFTER, EntryKind.NOTED, LETTUCE, note="last tray out"))
    with queries() as few:
        assert season(small).total.n_sowings == 1
    write(
        small,
        entry("end 1", AFTER, EntryKind.DELIVERED, KALE, n=340, order="K1", values={"last": 1}),
        entry("end 2", AFTER, EntryKind.DELIVERED, BASIL, n=60, order="B1", values={"last": 1}),
    )
    with queries() as more:
        assert season(small).total.n_sowings == 3
    assert len(more) == len(few)
