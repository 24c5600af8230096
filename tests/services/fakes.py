"""A planner and a checker that are quick and simple, to try services and commands with."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, field
from datetime import date, timedelta

from sowbench.domain.plan import (
    HandOver,
    Offer,
    OrderPlan,
    Plan,
    Sowing,
    SowingShare,
    Span,
    Spread,
    Step,
    Supply,
    Task,
    Unmet,
)
from sowbench.domain.records import StepKind
from sowbench.exchange.season_use import DailyUse
from sowbench.services.parts import Made, Parts

GROWS_D = 40


@dataclass
class FakePlanner:
    """Sows every order by itself forty days ahead; an order over `most` plants is left unmet."""

    most: int = 1_000_000
    short_price_needed: float = 0.0
    calls: list = field(default_factory=list)

    def __call__(self, inputs, parameters, seed, progress=None):
        self.calls.append((inputs, parameters, seed))
        if progress is not None:
            progress("lay out", 0.0, 0.0)
            progress("search", 100.0, 104.0)
        place = inputs.house.places[0].name
        container = inputs.catalog.containers["plug-72"]
        pays = inputs.house.prices.short_plant >= self.short_price_needed
        sowings: list[Sowing] = []
        orders: list[OrderPlan] = []
        unmet: list[Unmet] = []
        tasks: list[Task] = []
        for order in inputs.orders:
            fits = order.plants <= self.most and pays
            orders.append(_order_plan(order, f"S{len(orders) + 1}", fits=fits))
            if fits:
                sowing = _sowing(order, f"S{len(sowings) + 1}", place, container)
                sowings.append(sowing)
                tasks.append(Task(sowing.sow_date, "sow", sowing.sowing, place, 25.0))
            else:
                unmet.append(_unmet(order))
        days = (max(each.latest_date for each in inputs.orders) - inputs.from_date).days + 14
        use = [min(0.1 * len(sowings), 1.0)] * days
        plan = Plan(
            from_date=inputs.from_date,
            until_date=inputs.from_date + timedelta(days=days),
            cost=104.0,
            cost_parts={"seed": 60.0, "labor": 44.5, "surplus": -0.5},
            bound=100.0,
            gap_frac=0.04,
            gap_without_short_frac=0.05,
            seconds=0.5,
            seed=seed,
            assumptions=inputs.house.assumptions,
            orders=tuple(orders),
            sowings=tuple(sowings),
            unmet=tuple(unmet),
            tasks=tuple(tasks),
            supplies=(
                Supply(
                    inputs.from_date + timedelta(days=20),
                    inputs.from_date + timedelta(days=6),
                    "mix",
                    12.5,
                    "l",
                    0.0,
                    12.5,
                ),
            ),
            prices=(),
        )
        uses = (
            DailyUse(place, "m2", inputs.from_date, use, [1.0] * days),
            DailyUse("hands", "min", inputs.from_date, [25.0] * days, None, hands=True),
        )
        return Made(plan, uses)


def _order_plan(order, sowing, *, fits):
    return OrderPlan(
        order=order.id,
        plants=order.plants,
        planned=order.plants if fits else 0,
        chance_enough_frac=0.9 if fits else 0.0,
        chance_in_time_frac=0.8 if fits else 0.0,
        chance_filled_frac=0.75 if fits else 0.0,
        expected_short=1.5 if fits else float(order.plants),
        risky=("the lot tested 60 %; a fresher test would raise it",) if fits else (),
        hand_over=(HandOver(order.wanted_date, sowing, order.plants),) if fits else (),
    )


def _sowing(order, name, place, container):
    sown = order.wanted_date - timedelta(days=GROWS_D)
    n_cells = -(-order.plants * 5 // 4)
    n_containers = -(-n_cells // container.cells)
    ready = order.wanted_date - timedelta(days=3)

    def step(kind, first, last):
        return Step(kind, container.id, n_containers, n_cells, 500.0, place, first, last)

    return Sowing(
        sowing=name,
        orders=(SowingShare(order.id, order.plants),),
        crop=order.crop,
        variety=order.variety,
        lot="A-1",
        seeds_per_cell=1,
        plants_per_cell=(1, 1),
        n_cells=n_cells,
        n_seeds=n_cells,
        sow_date=sown,
        steps=(
            step(StepKind.GERMINATE, sown, sown + timedelta(days=5)),
            step(StepKind.GROW, sown + timedelta(days=5), ready),
            step(StepKind.TONE, ready, order.wanted_date),
        ),
        ready_date=Span(ready - timedelta(days=4), ready, ready + timedelta(days=6)),
        overgrown_date=Span(ready + timedelta(days=8), ready + timedelta(days=12)),
        plants=Spread(order.plants - 1, order.plants + 1, order.plants + 4),
    )


def _unmet(order):
    later = order.wanted_date + timedelta(days=7)
    return Unmet(
        order.id,
        order.plants,
        "room",
        (Offer("later", order.plants, later, cost_change=12.0, chance_filled_frac=0.7),),
    )


@dataclass(frozen=True)
class FakeFinding:
    rule: str
    subject: str
    message: str
    expected: str = ""
    found: str = ""
    severity: str = "fails"


@dataclass(frozen=True)
class FakeReport:
    findings: tuple = ()
    n_checks: dict = field(default_factory=lambda: {"room": 40, "cost": 2})
    figures: dict = field(default_factory=lambda: {"cost": 104.0})
    notes: tuple = ()


@dataclass
class FakeChecker:
    findings: tuple = ()
    with_bound: bool | None = None
    calls: list = field(default_factory=list)

    def __call__(self, plan, inputs, cancelled=(), *, with_bound=True):
        self.calls.append((plan, inputs, tuple(cancelled)))
        self.with_bound = with_bound
        return FakeReport(self.findings)


@dataclass(frozen=True)
class FakeAnswer:
    date: dt.date
    sow_date: dt.date
    container: str = "plug-72"
    lot: str = "A-1"
    seeds_per_cell: int = 2
    n_cells: int = 90
    place: str = "windowsill"
    cost: float = 36.0
    chance_enough_frac: float = 0.96
    chance_in_time_frac: float = 0.7
    chance_filled_frac: float = 0.68
    squeezes: tuple = ("windowsill from 2027-04-02 to 2027-04-20", "seed of A-1 on 2027-04-02")


@dataclass(frozen=True)
class FakePromise:
    on_day: object
    earliest: object
    reason: str = ""


@dataclass
class FakePromiser:
    """Fits on the wanted day up to `most` plants, and a week later always."""

    most: int = 100
    answer: dict = field(default_factory=dict)
    calls: list = field(default_factory=list)

    def __call__(self, inputs, plan, order, /):
        self.calls.append((inputs, plan, order))
        on_day = FakeAnswer(
            order.wanted_date, order.wanted_date - timedelta(days=GROWS_D), **self.answer
        )
        if order.plants <= self.most:
            return FakePromise(on_day, on_day)
        later = order.wanted_date + timedelta(days=7)
        return FakePromise(None, FakeAnswer(later, later - timedelta(days=GROWS_D)), "room")


def fake_parts(planner=None, checker=None, draw=None, promise=None):
    return Parts(
        planner or FakePlanner(), checker or FakeChecker(), promise or FakePromiser(), draw
    )


FROM_DATE = date(2027, 1, 4)
ORDERS = """order,customer,crop,plants,wanted_on
O-1,Hollow Field,tomato,60,2027-05-15
O-2,Low Barn,lettuce,200,2027-04-20
"""


def write_orders(folder, text=ORDERS):
    path = folder / "orders.csv"
    path.write_text(text, encoding="utf-8")
    return path
