"""Workings of money: what a sowing costs, what the plan costs, its bound and its gap."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from sowbench.checking.costs import (
    USES_OF_REUSABLE,
    container_price,
    days_late,
    material_costs,
    overgrown_chance,
    seed_price,
)
from sowbench.checking.hands import water_by_day
from sowbench.checking.rooms import is_reusable
from sowbench.services import wording
from sowbench.services.working import (
    ASSUMED,
    HOUSE,
    PLANNED,
    WORKED_OUT,
    YOURS,
    Input,
    Line,
    Working,
    amount,
    citations,
    compared,
)

if TYPE_CHECKING:
    from sowbench.domain.plan import Plan, Sowing
    from sowbench.domain.records import House
    from sowbench.services.working_model import Recomputed

_WHERE: Final = "docs/model.md, section 8"
PART_WORDS: Final = {
    "seed": ("Seed of all sowings still to be sown.", "seeds x price"),
    "container": ("Containers, one use each, and a label a tray.",
                  f"units x (price, or price / {USES_OF_REUSABLE} uses if it comes back) + label"),
    "mix": ("Mix in all cells.", "liters x price a liter"),
    "labor": ("All minutes of all jobs.", "minutes / 60 x rate an hour"),
    "room": ("Room, by place and day.", "m² x days x price of the place"),
    "short": ("Plants that will be missing, on average, and those that are not planned at all.",
              "expected plants short x price of a plant short"),
    "late": ("Days after the latest day, on average.", "plants x expected days x price"),
    "overgrown": ("Chance of being past its window when handed over.",
                  "plants x chance x price"),
    "surplus": ("Plants above the orders that can be sold.", "expected plants x price, taken off"),
}  # fmt: skip


def price_inputs(house: House, names: tuple[str, ...]) -> tuple[Input, ...]:
    """Tell prices of the house, and whether they are its own.

    Parameters
    ----------
    house : House
        The house.
    names : tuple of str
        Names of the prices.

    Returns
    -------
    inputs : tuple of Input
        One a price.
    """
    labels = {
        "short_plant": ("a plant short", house.prices.short_plant),
        "late_plant_day": ("a plant a day late", house.prices.late_plant_day),
        "overgrown_plant": ("a plant overgrown", house.prices.overgrown_plant),
        "surplus_plant": ("a plant above the orders", house.prices.surplus_plant),
        "mix_per_l": ("a liter of mix", house.prices.mix_per_l),
        "label": ("a label", house.prices.label),
    }
    out = []
    for name in names:
        words, value = labels[name]
        is_default = any(each.startswith(f"{name} ") for each in house.assumptions)
        out.append(
            Input(words, wording.money(value, house.prices.currency), "", "house file",
                  ASSUMED if is_default else HOUSE)
        )  # fmt: skip
    return tuple(out)


def _minutes(model: Recomputed) -> float:
    """Working time of all jobs and of watering [min]."""
    jobs = sum(each.minutes for each in model.work)
    return float(jobs + water_by_day(model.season, model.rates).sum())


def sowing_cost(model: Recomputed, sowing: Sowing) -> dict[str, float]:
    """Return what a sowing costs, part by part.

    Parameters
    ----------
    model : Recomputed
        The sowing alone, worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    parts : dict of str to float
        Money by part; what a shortage would cost belongs to its orders.
    """
    season, house = model.season, model.few.house
    parts = material_costs(season)
    parts["labor"] = _minutes(model) / 60.0 * house.crew.rate_per_hour
    parts["late"] = parts["overgrown"] = 0.0
    line = model.line(sowing)
    for row in model.few.order_plans.values():
        order = season.orders.get(row.order)
        for each in row.hand_over:
            if each.sowing != sowing.sowing or order is None:
                continue
            late = days_late(season, line, season.index(order.latest_date))
            over = overgrown_chance(season, line, season.index(each.date))
            parts["late"] += each.plants * late * house.prices.late_plant_day
            parts["overgrown"] += each.plants * over * house.prices.overgrown_plant
    return parts


def sowing_cost_working(model: Recomputed, sowing: Sowing) -> Working:
    """Show what a sowing costs, part by part.

    Parameters
    ----------
    model : Recomputed
        The sowing alone, worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    working : Working
        Seed, containers, mix, labor, room, and what lateness and overgrowing may cost.
    """
    season, house = model.season, model.few.house
    money = house.prices.currency
    parts = sowing_cost(model, sowing)
    minutes = _minutes(model)
    total = sum(parts.values())
    lot = model.lot(sowing)
    is_own = lot is not None and lot.price_per_1000 is not None
    inputs = [
        Input("seeds", amount(sowing.n_seeds), "", "", PLANNED),
        Input("a thousand seeds",
              wording.money(1000 * seed_price(season, lot, sowing.crop), money), "",
              f"lot {sowing.lot}" if is_own else "reference", YOURS if is_own else ASSUMED),
    ]  # fmt: skip
    for name in dict.fromkeys(each.container for each in sowing.steps):
        container = model.container(name)
        uses = (
            f", of {USES_OF_REUSABLE} uses (assumption)" if is_reusable(season, container) else ""
        )
        inputs.append(
            Input(f"{name}, one use", wording.money(container_price(season, container), money),
                  "", f"{container.name}{uses}", HOUSE if name in season.stock else ASSUMED)
        )  # fmt: skip
    inputs += price_inputs(house, ("mix_per_l", "label", "late_plant_day", "overgrown_plant"))
    inputs += [
        Input("working time", f"{minutes:,.0f}", "min", "jobs and watering", WORKED_OUT),
        Input("an hour of work", wording.money(house.crew.rate_per_hour, money), "", "house file",
              HOUSE),
    ]  # fmt: skip
    lines = [
        Line(*PART_WORDS[name], wording.money(value, money))
        for name, value in parts.items()
        if abs(value) >= 0.005
    ]
    plants = sum(each.plants for each in sowing.orders)
    if plants:
        lines.append(
            Line("A plant that is wanted of it.", f"{total:,.2f} / {plants:,}",
                 wording.money(total / plants, money))
        )  # fmt: skip
    given = tuple(inputs)
    return Working(
        "Cost of a sowing",
        sowing.sowing,
        wording.money(total, money),
        given,
        tuple(lines),
        total,
        agrees=(
            "The plan keeps the parts of its whole cost only; a shared change of lot, and what a "
            "shortage would cost, belong to the day and to the orders."
        ),
        sources=citations(given, model.few.catalog),
        where=_WHERE,
    )


def cost_working(plan: Plan, house: House) -> Working:
    """Show what a plan costs, part by part.

    Parameters
    ----------
    plan : Plan
        The plan.
    house : House
        The house it was made for.

    Returns
    -------
    working : Working
        Its parts and their sum.
    """
    money = house.prices.currency
    total = sum(plan.cost_parts.values())
    lines = [
        Line(*PART_WORDS.get(name, (name, "")), wording.money(value, money))
        for name, value in plan.cost_parts.items()
        if abs(value) >= 0.005
    ]
    inputs = price_inputs(
        house,
        ("short_plant", "late_plant_day", "overgrown_plant", "surplus_plant", "mix_per_l", "label"),
    )
    rate = Input("an hour of work", wording.money(house.crew.rate_per_hour, money), "",
                 "house file", HOUSE)  # fmt: skip
    return Working(
        "Cost of the plan",
        f"{len(plan.sowings)} sowings for {len(plan.orders)} orders",
        wording.money(total, money),
        (*inputs, rate),
        (*lines, Line("Together.", "sum", wording.money(total, money))),
        total,
        plan.cost,
        compared(
            wording.money(total, money),
            wording.money(plan.cost, money),
            is_same=abs(total - plan.cost) <= 0.01,
        ),
        where=_WHERE,
    )


def bound_working(plan: Plan, house: House) -> Working:
    """Show below what no plan can cost, and how far above it this one is.

    Parameters
    ----------
    plan : Plan
        The plan.
    house : House
        The house it was made for.

    Returns
    -------
    working : Working
        Bound and gap.
    """
    money = house.prices.currency
    gap = (plan.cost - plan.bound) / plan.bound if plan.bound > 0 else 0.0
    kinds: dict[str, int] = {}
    for each in plan.prices:
        kinds[each.kind] = kinds.get(each.kind, 0) + 1
    inputs = (
        Input("cost of the plan", wording.money(plan.cost, money), "", "opens in its own working",
              PLANNED),
        Input("bound", wording.money(plan.bound, money), "", "proved by the planner", PLANNED),
        *(Input(f"prices of {kind}", amount(n), "rows and days", "", PLANNED)
          for kind, n in kinds.items()),
    )  # fmt: skip
    lines = (
        Line(
            "Give every tight place, hour and lot a price a day. Each order then takes whatever "
            "is cheapest for it alone, as if nobody else were there; less what the room and hands "
            "would earn, no plan can cost less. What a plan may save by sharing a tray, and "
            "because several sowings of an order are seldom short together, is taken off "
            "beforehand.",
            "Σ over orders, least cost at these prices - Σ price x capacity",
            wording.money(plan.bound, money),
        ),
        Line(
            "How far this plan is above it. The cheapest plan lies somewhere between.",
            f"({plan.cost:,.0f} - {plan.bound:,.0f}) / {plan.bound:,.0f}",
            wording.percent(gap, 1),
        ),
    )
    return Working(
        "Bound and gap",
        f"{len(plan.sowings)} sowings for {len(plan.orders)} orders",
        f"at least {wording.money(plan.bound, money)}; this plan at most "
        f"{wording.percent(gap, 1)} above",
        inputs,
        lines,
        gap,
        plan.gap_frac,
        compared(
            wording.percent(gap, 1),
            wording.percent(plan.gap_frac, 1),
            is_same=abs(gap - plan.gap_frac) <= 1e-4,
        ),
        where="docs/model.md, section 9",
    )
