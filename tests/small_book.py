"""A small house book, planned by hand: one Tuesday with every kind of job, small enough to follow.

Today is Tue 9 March 2027. Of five sowings one is to be sown, one to be pulled from the chamber and
one to be packed for two orders; a count of two others is due, one of them three days late.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import msgspec

from sowbench.bootstrap import open_desk
from sowbench.domain.book import NewPlan
from sowbench.domain.jobs import job_keys
from sowbench.domain.journal import Entry, EntryKind
from sowbench.domain.plan import (
    HandOver,
    OrderPlan,
    Plan,
    Sowing,
    SowingShare,
    Span,
    Spread,
    Step,
    Task,
)
from sowbench.domain.records import Order, StepKind
from sowbench.services.cards import Card, CardStep
from sowbench.services.desk import TODAY_SETTING, Desk

TODAY = date(2027, 3, 9)
NOW = datetime(2027, 3, 9, 13, 5, tzinfo=UTC)
HOUSE = """
[house]
name = "Sallow End (invented)"
time_zone = "Etc/GMT+5"

[crew]
minutes_per_day = 480
work_days = ["Mon", "Tue", "Wed", "Thu", "Fri"]
closed = ["2027-04-02"]

[[place]]
name = "warm chamber"
kind = "chamber"
positions = 36
temp_c = 20.0

[[place]]
name = "south bench"
kind = "bench"
area_m2 = 40.0

[[place]]
name = "yard"
kind = "yard"
area_m2 = 30.0
"""
KALE, CELERY, LETTUCE, LEEK, BASIL = (
    "kale 03-01 a",
    "celery 03-09 a",
    "lettuce 02-09 a",
    "leek 02-26 a",
    "basil 03-02 a",
)


def entry_id(name: str) -> str:
    """Make the id of an entry from a word."""
    return hashlib.sha256(name.encode()).hexdigest()[:32]


def entry(name: str, day: date, kind: EntryKind, sowing: str, **more: object) -> Entry:
    """Write an entry of the crew."""
    at = datetime(day.year, day.month, day.day, 13, 0, tzinfo=UTC)
    made = Entry(entry_id(name), day, kind, sowing, at=at, person="Ana")
    return replace(made, **more)  # type: ignore[arg-type]


def _step(
    kind: StepKind, container: str, n: int, cells: int, place: str, first: date, last: date
) -> Step:
    return Step(kind, container, n, cells, 800.0, place, first, last)


def _sowing(
    name: str,
    orders: Iterable[tuple[str, int]],
    steps: tuple[Step, ...],
    *,
    wanted: tuple[int, int] = (1, 1),
    seeds: int = 1,
) -> Sowing:
    n_cells = steps[0].n_cells
    ready = steps[-1].to_date
    return Sowing(
        sowing=name,
        orders=tuple(SowingShare(*each) for each in orders),
        crop=name.split(maxsplit=1)[0],
        variety="Longbarrow" if name == KALE else "",
        lot=f"S-{name.split(maxsplit=1)[0]}",
        seeds_per_cell=seeds,
        plants_per_cell=wanted,
        n_cells=n_cells,
        n_seeds=n_cells * seeds,
        sow_date=steps[0].from_date,
        steps=steps,
        ready_date=Span(ready - timedelta(days=4), ready, ready + timedelta(days=4)),
        overgrown_date=Span(ready + timedelta(days=9), ready + timedelta(days=14)),
        plants=Spread(int(0.9 * n_cells), int(0.93 * n_cells), int(0.96 * n_cells)),
    )


def small_plan() -> Plan:
    """Return the plan."""
    d = date
    germinate, grow = StepKind.GERMINATE, StepKind.GROW
    chamber, bench, yard = "warm chamber", "south bench", "yard"
    sowings = (
        _sowing(KALE, [("K1", 340)], (
            _step(germinate, "plug-128", 3, 384, bench, d(2027, 3, 1), d(2027, 3, 8)),
            _step(grow, "plug-128", 3, 384, bench, d(2027, 3, 8), d(2027, 4, 12)),
        )),
        _sowing(CELERY, [("C1", 1000)], (
            _step(germinate, "plug-288", 4, 1152, chamber, TODAY, d(2027, 3, 16)),
            _step(grow, "plug-288", 4, 1152, bench, d(2027, 3, 16), d(2027, 5, 3)),
        )),
        _sowing(LETTUCE, [("L1", 90), ("L2", 30)], (
            _step(germinate, "plug-128", 1, 128, bench, d(2027, 2, 9), d(2027, 2, 16)),
            _step(grow, "plug-128", 1, 128, bench, d(2027, 2, 16), d(2027, 3, 10)),
        )),
        _sowing(LEEK, [("E1", 450)], (
            _step(germinate, "plug-512", 1, 512, bench, d(2027, 2, 26), d(2027, 3, 10)),
            _step(grow, "plug-512", 1, 512, bench, d(2027, 3, 10), d(2027, 5, 1)),
        )),
        _sowing(BASIL, [("B1", 60)], (
            _step(germinate, "plug-72", 1, 72, chamber, d(2027, 3, 2), TODAY),
            _step(grow, "plug-72", 1, 72, bench, TODAY, d(2027, 4, 5)),
        ), wanted=(4, 5), seeds=6),
    )  # fmt: skip
    tasks = (
        Task(d(2027, 3, 6), "count", LEEK, bench, 4.0, 2),
        Task(d(2027, 3, 8), "water", "", bench, 12.0),
        Task(TODAY, "water", "", bench, 12.0),
        Task(TODAY, "move", BASIL, bench, 2.0),
        Task(TODAY, "change lot", CELERY, "", 6.0, 0, "S-celery"),
        Task(TODAY, "sow", CELERY, chamber, 110.0),
        Task(TODAY, "count", KALE, bench, 6.0, 2),
        Task(TODAY, "pack", LETTUCE, bench, 8.0, 3),
        Task(d(2027, 3, 10), "tone", KALE, yard, 2.0, 4),
    )
    orders = [
        OrderPlan(name, plants, plants, 0.97, 0.95, 0.93, 0.4, (), (HandOver(day, sowing, plants),))
        for name, plants, sowing, day in (
            ("K1", 340, KALE, d(2027, 4, 12)),
            ("C1", 1000, CELERY, d(2027, 5, 3)),
            ("L1", 90, LETTUCE, d(2027, 3, 10)),
            ("L2", 30, LETTUCE, d(2027, 3, 10)),
            ("E1", 450, LEEK, d(2027, 5, 1)),
            ("B1", 60, BASIL, d(2027, 4, 5)),
        )
    ]
    return Plan(
        from_date=d(2027, 2, 1),
        until_date=d(2027, 5, 17),
        cost=500.0,
        cost_parts={"seed": 500.0},
        bound=480.0,
        gap_frac=20 / 480,
        gap_without_short_frac=20 / 480,
        seconds=1.0,
        seed=0,
        assumptions=(),
        orders=tuple(orders),
        sowings=sowings,
        unmet=(),
        tasks=tasks,
        supplies=(),
        prices=(),
    )


def celery_card() -> Card:
    """Return the card of the sowing of the day."""
    return Card(
        CELERY,
        TODAY,
        "Celery",
        ("Lot S-celery: 1,152 seeds, 1 a cell, in 1,152 cells: 4 x Plug tray, 288 cells.",),
        (
            CardStep("Damp the mix and turn it until a squeezed handful just holds together.",
                     "dry peat sheds water and makes dust",
                     "Dry mix makes dust; a mask, and damp it in the bag.", "practice"),
            CardStep("Knock the tray once on the bench and fill up what sank; press lightly."),
            CardStep("Make no hole: the seed lies on the surface."),
            CardStep("Place 1 seed of pelleted seed in each cell, by hand, with a plate or by"
                     " machine; do not bury the pellet.", "wanted: one plant", "", "C01"),
            CardStep("Leave the seed open and press it on, so that it touches wet mix.",
                     "it needs light"),
            CardStep("Into the chamber at 20 °C and near-full humidity until the root shows."),
        ),
        ("9 to 15 March: germinates (warm chamber).",),
        ("Ready about Mon 3 May.",),
    )  # fmt: skip


def small_entries() -> list[Entry]:
    """Return what has happened before today."""
    full = {"n_cells_per_tray": 128}
    d = date
    keys = dict(zip(small_plan().tasks, job_keys(small_plan().tasks), strict=True))
    watered = next(key for task, key in keys.items() if task.date == d(2027, 3, 8))
    kind = EntryKind
    bench = "south bench"
    return [
        entry("kale", d(2027, 3, 1), kind.SOWN, KALE, n=384, crop="kale", variety="Longbarrow",
              lot="S-kale", container="plug-128", n_containers=3, place=bench, values=full),
        entry("leek", d(2027, 2, 26), kind.SOWN, LEEK, n=512, crop="leek", lot="S-leek",
              container="plug-512", n_containers=1, place=bench),
        entry("basil", d(2027, 3, 2), kind.SOWN, BASIL, n=72, crop="basil", lot="S-basil",
              container="plug-72", n_containers=1, place="warm chamber"),
        entry("lettuce", d(2027, 2, 9), kind.SOWN, LETTUCE, n=128, crop="lettuce",
              lot="S-lettuce", container="plug-128", n_containers=1, place=bench),
        entry("water", d(2027, 3, 8), kind.WATERED, "", place=bench, job=watered),
    ]  # fmt: skip


def fill(desk: Desk) -> None:
    """Take the house, the orders, the plan and the entries into an empty book."""
    plan = small_plan()
    orders = [
        Order(each.order, each.hand_over[0].sowing.split()[0], each.plants,
              each.hand_over[0].date, each.hand_over[0].date, each.hand_over[0].date,
              customer="Long Acre" if each.order.startswith("L") else "Hollow Field")
        for each in plan.orders
    ]  # fmt: skip
    card = msgspec.json.encode(celery_card()).decode()
    with desk.book.writing() as unit:
        unit.houses.put(HOUSE, NOW, "Ana", "begun")
        unit.orders.put(orders, NOW, "Ana", "begun")
        unit.settings.put(TODAY_SETTING, TODAY.isoformat())
        number = unit.plans.add(NewPlan(plan, (), {CELERY: card}), NOW, "Ana")
        unit.plans.accept(number, NOW)
        unit.journal.add(small_entries(), NOW)
        unit.commit()


@contextmanager
def small_desk(folder: Path) -> Iterator[Desk]:
    """Open the small book in a folder; its clock stands at 8:05 in the house."""
    with open_desk(folder, clock=lambda: NOW) as desk:
        fill(desk)
        yield desk
