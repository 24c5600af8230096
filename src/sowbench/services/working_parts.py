"""Workings of the parts of a plan's cost, from its sowings, and of what orders may lack."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Final

from sowbench.checking.chances import Stands
from sowbench.checking.costs import chance_costs, material_costs
from sowbench.checking.hands import water_by_day
from sowbench.checking.report import Ledger
from sowbench.science.cost import PARTS
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.kept_results import Kept
from sowbench.services.working import PLANNED, WORKED_OUT, Input, Line, Working, compared
from sowbench.services.working_few import few_of_order, few_of_plan, few_whole_plan
from sowbench.services.working_model import model_of
from sowbench.services.working_money import PART_WORDS, price_inputs

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Plan
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import House

_WHERE: Final = "docs/model.md, section 8"
_OF_MATERIAL: Final = frozenset({"seed", "container", "mix", "room"})
_MOST_SOWINGS: Final = 1500
_MOST_KEPT: Final = 24
_SAME_FRAC: Final = 0.005
_SAME: Final = 0.02
_PRICES: Final = {
    "mix": ("mix_per_l",),
    "container": ("label",),
    "short": ("short_plant",),
    "late": ("late_plant_day",),
    "overgrown": ("overgrown_plant",),
    "surplus": ("surplus_plant",),
}
_parts: Final[Kept[tuple[object, ...], dict[str, float]]] = Kept(_MOST_KEPT)


def part_working(unit: Unit, head: PlanHead, plan: Plan, part: str) -> Working:
    """Show how a part of a plan's cost adds up.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    plan : Plan
        The whole of it.
    part : str
        Name of the part.

    Returns
    -------
    working : Working
        The part worked out once more from all sowings and orders.

    Raises
    ------
    UnknownNameError
        If a cost has no such part.
    """
    if part not in PARTS:
        raise UnknownNameError.among(part, "part of the cost", PARTS)
    planned = plan.cost_parts.get(part, 0.0)
    few = few_of_plan(unit, head, plan)
    house, money = few.house, few.house.prices.currency
    words, symbols = PART_WORDS[part]
    inputs = [Input("sowings", f"{len(plan.sowings):,}", "", "", PLANNED)]
    inputs += price_inputs(house, _PRICES.get(part, ()))
    if len(plan.sowings) > _MOST_SOWINGS and part not in _OF_MATERIAL:
        line = Line(
            f"{words} Of more than {_MOST_SOWINGS:,} sowings it is not added up again here: the "
            "cost of each opens on its own page.",
            symbols,
            wording.money(planned, money),
        )
        return Working(
            _title(part), f"plan {head.id}", wording.money(planned, money), tuple(inputs), (line,),
            planned, planned, where=_WHERE,
        )  # fmt: skip
    figure, rows = _added_up(unit, head, plan, part)
    lines = [Line(f"{name}:", "", wording.money(value, money)) for name, value in rows]
    lines.append(Line(words, symbols, wording.money(figure, money)))
    if part == "labor":
        inputs.append(Input("an hour of work", wording.money(house.crew.rate_per_hour, money), "",
                            "house file", PLANNED))  # fmt: skip
    here, told = wording.money(figure, money), wording.money(planned, money)
    same = abs(figure - planned) <= _SAME + _SAME_FRAC * abs(planned)
    return Working(
        _title(part),
        f"plan {head.id}",
        here,
        tuple(inputs),
        tuple(lines),
        figure,
        planned,
        compared(here, told, is_same=same),
        where=_WHERE,
    )


def _title(part: str) -> str:
    """Title of a part."""
    return f"Part of the cost: {part}"


def _added_up(
    unit: Unit, head: PlanHead, plan: Plan, part: str
) -> tuple[float, list[tuple[str, float]]]:
    """A part worked out from all sowings, and what it is made of in short."""
    if part in _OF_MATERIAL:
        few = few_of_plan(unit, head, plan)
        season = model_of(few).season
        return material_costs(season)[part], []
    few = few_whole_plan(unit, head, plan)
    model = model_of(few)
    if part == "labor":
        rate = few.house.crew.rate_per_hour / 60.0
        by_task: defaultdict[str, float] = defaultdict(float)
        for each in model.work:
            by_task[each.task] += each.minutes * rate
        by_task["water"] += float(water_by_day(model.season, model.rates).sum()) * rate
        rows = sorted(by_task.items(), key=lambda each: -each[1])
        return sum(by_task.values()), rows
    money = _parts.get(
        few.key,
        lambda: chance_costs(
            model.season, model.lines, Stands(model.season, model.lines), Ledger()
        ),
    )
    return money[part], []


def short_working(unit: Unit, head: PlanHead, name: str, house: House) -> Working:
    """Show how many plants of an order are expected to be short.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    name : str
        The order.
    house : House
        The house, for the price of a plant short.

    Returns
    -------
    working : Working
        Plants not planned, and those that may be missing of what is planned.

    Raises
    ------
    UnknownNameError
        If the plan has no such order.
    """
    row = unit.sowings_page.order_plans(head.id, [name]).get(name)
    if row is None:
        raise UnknownNameError(name, "order of this plan")
    left_out = max(row.plants - row.planned, 0)
    short = 0.0
    lines = []
    if row.hand_over:
        model = model_of(few_of_order(unit, head, name))
        order = model.season.orders[name]
        cells = model.chances(order, row.planned).expected_short
        per_cell = row.planned / max(model.season.wanted_cells(order, row.planned), 1)
        short = cells * per_cell
        lines.append(
            Line("Of what is planned: cells missing, each number of them by its chance, over all "
                 "kinds of season and lot.", f"Σ chance x cells missing x {per_cell:g} plants",
                 f"{short:,.2f} plants")
        )  # fmt: skip
    lines += [
        Line("Not planned at all.", f"{row.plants:,} - {row.planned:,}", f"{left_out:,} plants"),
        Line("Together.", "sum", f"{short + left_out:,.2f} plants"),
        Line("What the plan counts for them.",
             f"x {wording.money(house.prices.short_plant, house.prices.currency)}",
             wording.money((short + left_out) * house.prices.short_plant, house.prices.currency)),
    ]  # fmt: skip
    figure = short + left_out
    here, told = f"{figure:,.1f} plants", f"{row.expected_short:,.1f} plants"
    inputs = (
        Input("ordered", f"{row.plants:,}", "plants", f"order {name}", PLANNED),
        Input("planned", f"{row.planned:,}", "plants", "", PLANNED),
        Input("chance of enough", wording.percent(row.chance_enough_frac, 1), "",
              "opens in its own working", WORKED_OUT),
        *price_inputs(house, ("short_plant",)),
    )  # fmt: skip
    same = abs(figure - row.expected_short) <= 0.02 + 0.01 * row.plants
    return Working(
        "Short, on average",
        name,
        here,
        inputs,
        tuple(lines),
        figure,
        row.expected_short,
        compared(here, told, is_same=same),
        where="docs/model.md, section 5",
    )
