"""Workings of supplies: which sowings take how much, what is in stock, what to buy and by when."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.checking.costs import filled_units, is_ahead, is_filled, mix_l
from sowbench.checking.rooms import container_spans, is_reusable
from sowbench.planning.supplies import LEAD_TIME_D
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.medium import WASTE_FRAC
from sowbench.services import wording
from sowbench.services.plan_body import plan_body
from sowbench.services.working import (
    ASSUMED,
    HOUSE,
    PLANNED,
    YOURS,
    Input,
    Line,
    Working,
    amount,
    citations,
    compared,
    reference_input,
)
from sowbench.services.working_few import few_of_plan
from sowbench.services.working_model import model_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from sowbench.checking.season import Season
    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Sowing, Step, Supply
    from sowbench.domain.ports import Unit
    from sowbench.domain.records import Container
    from sowbench.services.working_model import Recomputed

_WHERE: Final = "docs/model.md, section 10"
_MOST_LINES: Final = 30
_SAME_FRAC: Final = 0.005
_SAME: Final = 0.02
SEED: Final = "seed "
MIX: Final = "mix for "


@dataclass(frozen=True, slots=True)
class Taken:
    """What one sowing takes of a supply, on the day on which it is wanted."""

    sowing: Sowing
    day: date
    amount: float
    symbols: str = ""


def supply_working(unit: Unit, head: PlanHead, item: str) -> Working:
    """Show why so much of something is needed and bought.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    item : str
        The item as the plan's supplies name it.

    Returns
    -------
    working : Working
        What each sowing takes, the stock, what is left to buy, and by when.

    Raises
    ------
    UnknownNameError
        If the plan needs nothing of that name.
    """
    rows = {each.item: each for each in unit.seed_page.supplies(head.id)}
    row = rows.get(item)
    if row is None:
        raise UnknownNameError.among(item, "supply of this plan", rows)
    model = model_of(few_of_plan(unit, head, plan_body(unit, head)))
    if item.startswith(SEED):
        return _seed(model, row)
    if item.startswith(MIX):
        return _mix(model, row)
    return _container(model, row)


def _seed(model: Recomputed, row: Supply) -> Working:
    """Seed of one lot."""
    season, name = model.season, row.item.removeprefix(SEED)
    lot = season.lots.get(name)
    rows = [
        Taken(each, each.sow_date, each.n_seeds, f"{each.n_cells:,} x {each.seeds_per_cell}")
        for each in season.plan.sowings
        if each.lot == name and is_ahead(season, each)
    ]
    need = sum(each.amount for each in rows)
    stock = 0.0 if lot is None or lot.n_seeds is None else float(lot.n_seeds)
    missing = max(0.0, need - stock)
    inputs = [Input("in stock", amount(stock), "seeds", f"lot {name}", YOURS)]
    lines = [
        *_rows(rows, "seeds"),
        Line("Seeds of all sowings still to be sown: cells x seeds a cell.", "sum",
             f"{need:,.0f} seeds"),
    ]  # fmt: skip
    buy = missing
    if missing and lot is not None and lot.pack_sizes:
        pack = min(lot.pack_sizes)
        buy = float(-(-missing // pack) * pack)
        inputs.append(Input("smallest pack", amount(pack), "seeds", f"lot {name}", YOURS))
        lines.append(_missing(need, stock, missing, "seeds"))
        lines.append(Line("In whole packs.", f"up to the next {pack:,}", f"{buy:,.0f} seeds"))
    else:
        lines.append(_missing(need, stock, missing, "seeds"))
    return _working(model, row, rows, inputs, lines, need, buy)


def _mix(model: Recomputed, row: Supply) -> Working:
    """Mix of one month."""
    month = row.item.removeprefix(MIX)
    found = [each for each in mix_taken(model) if f"{each.day:%Y-%m}" == month]
    need = sum(each.amount for each in found)
    lines = [
        *_rows(found, "l"),
        Line("Mix of all that is filled in this month. None is kept, so all of it is bought.",
             "sum", f"{need:,.1f} l"),
    ]  # fmt: skip
    return _working(model, row, found, _mix_inputs(model, found), lines, need, need)


def _mix_inputs(model: Recomputed, rows: Iterable[Taken]) -> list[Input]:
    """Cells' volumes and the tenth that is lost."""
    names = dict.fromkeys(name for each in rows for name, *_ in container_spans(each.sowing))
    containers = [model.container(each) for each in names]
    return [
        *(
            reference_input(each.facts, "cell_volume_ml", f"volume of a cell, {each.name}")
            for each in containers
            if each.takes_mix
        ),
        Input("spilled and settled", wording.percent(WASTE_FRAC), "", "", ASSUMED),
    ]


def mix_taken(model: Recomputed) -> list[Taken]:
    """List the mix of every container still to be filled.

    Parameters
    ----------
    model : Recomputed
        The sowings of a plan.

    Returns
    -------
    rows : list of Taken
        Liters by sowing and container, with the day of filling.
    """
    rows = []
    for sowing in model.season.plan.sowings:
        for container, day, steps in _fillings(model.season, sowing):
            if container.takes_mix:
                symbols = (
                    f"{steps[0].n_cells:,} x {container.cell_volume_ml:g} ml x {1 + WASTE_FRAC:.2f}"
                )
                rows.append(Taken(sowing, day, mix_l(steps[0], container), symbols))
    return sorted(rows, key=lambda each: (each.day, each.sowing.sowing))


def _fillings(season: Season, sowing: Sowing) -> list[tuple[Container, date, list[Step]]]:
    """Containers of a sowing still to be filled, with the day."""
    found = []
    for name, start, _, _, steps in container_spans(sowing):
        container = season.catalog.containers.get(name)
        if container is not None and is_filled(season, sowing, steps):
            is_first = steps[0] is sowing.steps[0]
            found.append((container, sowing.sow_date if is_first else start, steps))
    return found


def _container(model: Recomputed, row: Supply) -> Working:
    """Containers: one-way ones by the sum, those that come back by the most out at a time."""
    season = model.season
    own = filled_units(season)
    rows = [
        Taken(sowing, day, own[sowing.sowing, container.id],
              f"{steps[0].n_cells:,} cells / {container.cells}")
        for sowing in season.plan.sowings
        for container, day, steps in _fillings(season, sowing)
        if container.name == row.item
    ]  # fmt: skip
    rows.sort(key=lambda each: (each.day, each.sowing.sowing))
    container = next(
        (each for each in season.catalog.containers.values() if each.name == row.item), None
    )
    if container is None:
        raise UnknownNameError(row.item, "container")
    stock_row = season.stock.get(container.id)
    stock = float((stock_row.n_in_stock or 0) if stock_row is not None else 0)
    total = sum(each.amount for each in rows)
    lines = [
        *_rows(rows, "units"),
        Line("Filled in all: cells / cells of one, rounded up; one that sowings share by rows is "
             "counted by their parts.", "sum", f"{total:,.2f} units"),
    ]  # fmt: skip
    inputs = [
        Input("cells of one", amount(container.cells), "", container.name, HOUSE),
        Input("in stock", amount(stock), "units", "house file", YOURS),
    ]
    need = total
    if is_reusable(season, container):
        need, day = most_out(season, container.id)
        back = 7 if stock_row is None else stock_row.back_after_d
        wash = 1 if stock_row is None else stock_row.wash_d
        basis = ASSUMED if stock_row is None else HOUSE
        inputs += [
            Input("comes back after", amount(back), "d", "house file", basis),
            Input("washed in", amount(wash), "d", "house file", basis),
        ]
        lines.append(
            Line(
                "It comes back and is filled again, so what counts is how many are out at a time, "
                f"those that come back from customers or are washed included. Most on "
                f"{wording.day(day)}.",
                "most of all days",
                f"{need:,.2f} units",
            )
        )
    missing = max(0.0, need - stock)
    lines.append(_missing(need, stock, missing, "units"))
    return _working(model, row, rows, inputs, lines, need, missing)


def most_out(season: Season, name: str) -> tuple[float, date]:
    """Return the most units of a container that comes back that are out at a time.

    Parameters
    ----------
    season : Season
        The plan with what it was made from.
    name : str
        Id of the container.

    Returns
    -------
    n_units : float
        Units.
    day : date
        The first day on which it is so many.
    """
    own, stock = filled_units(season), season.stock.get(name)
    change: defaultdict[int, float] = defaultdict(float)
    first = season.index(season.inputs.from_date)
    is_limited = stock is not None and stock.n_in_stock is not None
    for sowing in season.plan.sowings:
        for held, start, end, last, steps in container_spans(sowing):
            if held != name or not (is_limited or is_filled(season, sowing, steps)):
                continue
            away = 8
            if stock is not None and is_limited:
                away = stock.wash_d + (stock.back_after_d if last else 0)
            begin, stop = max(season.index(start), first), season.index(end) + away
            if begin < stop:
                change[begin] += own[sowing.sowing, name]
                change[stop] -= own[sowing.sowing, name]
    most, at, out = 0.0, first, 0.0
    for day in sorted(change):
        out += change[day]
        if out > most + 1e-9:
            most, at = out, day
    return most, season.day(at)


def _rows(rows: Sequence[Taken], unit: str) -> list[Line]:
    """What each sowing takes; of many the largest, and the rest together."""
    digits = 1 if unit == "l" else 0
    shown = sorted(rows, key=lambda each: -each.amount)[:_MOST_LINES]
    keep = {id(each) for each in shown}
    lines = [
        Line(
            f"{each.sowing.sowing}, {wording.day(each.day)}:",
            each.symbols,
            f"{each.amount:,.{digits if each.amount == round(each.amount) else 1}f} {unit}",
        )
        for each in rows
        if id(each) in keep
    ]
    rest = [each for each in rows if id(each) not in keep]
    if rest:
        lines.append(
            Line(f"{wording.count(len(rest), 'more sowing')}, each less:", "sum",
                 f"{sum(each.amount for each in rest):,.{digits}f} {unit}")
        )  # fmt: skip
    return lines


def _missing(need: float, stock: float, missing: float, unit: str) -> Line:
    """What is to be bought."""
    return Line(
        "To buy: what is needed less what is in stock."
        if missing
        else "There is enough: nothing is to be bought.",
        f"{need:,.0f} - {stock:,.0f}",
        f"{missing:,.0f} {unit}",
    )


def _working(
    model: Recomputed,
    row: Supply,
    rows: Sequence[Taken],
    inputs: Sequence[Input],
    lines: Sequence[Line],
    need: float,
    buy: float,
) -> Working:
    """Put a working together, with the day to order."""
    first = min((each.day for each in rows), default=row.needed_on)
    order_by = max(model.few.head.from_date, first - timedelta(days=LEAD_TIME_D))
    given = (
        Input("sowings that take it", amount(len(rows)), "", "", PLANNED),
        *inputs,
        Input("from ordering to having it", amount(LEAD_TIME_D), "d", "", ASSUMED),
    )
    unit = "l" if row.unit == "L" else row.unit
    here, plan = _words(need, buy, first, unit), _words(
        row.amount, row.to_buy, row.needed_on, unit
    )  # fmt: skip
    same = (
        abs(need - row.amount) <= _SAME + _SAME_FRAC * row.amount
        and abs(buy - row.to_buy) <= _SAME + _SAME_FRAC * row.to_buy
        and first == row.needed_on
        and order_by == row.order_by
    )
    return Working(
        "Supplies",
        row.item,
        here,
        given,
        (
            *lines,
            Line(
                "Needed on the first day it is filled or sown; to be ordered so many days before, "
                "but not before the plan begins.",
                f"{wording.day(first)} - {LEAD_TIME_D} d",
                wording.day(order_by),
            ),
        ),
        need,
        row.amount,
        compared(here, plan, is_same=same),
        sources=citations(given, model.few.catalog),
        where=_WHERE,
    )


def _words(need: float, buy: float, first: date, unit: str) -> str:
    """Say what is needed, what to buy, and from when."""
    return (
        f"{wording.amount(round(need, 2))} {unit} from {wording.day(first)}, "
        f"{wording.amount(round(buy, 2))} to buy"
    )


def all_mix_working(unit: Unit, head: PlanHead) -> Working:
    """Show how much mix a whole plan takes.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.

    Returns
    -------
    working : Working
        Liters of all containers still to be filled, month by month.

    Raises
    ------
    OutOfRangeError
        If nothing of the plan takes mix.
    """
    model = model_of(few_of_plan(unit, head, plan_body(unit, head)))
    rows = mix_taken(model)
    if not rows:
        raise OutOfRangeError("mix of the plan", "taken by a sowing", "nothing")
    total = sum(each.amount for each in rows)
    listed = sum(
        each.amount for each in unit.seed_page.supplies(head.id) if each.item.startswith(MIX)
    )
    by_month: defaultdict[str, list[Taken]] = defaultdict(list)
    for each in rows:
        by_month[f"{each.day:%B %Y}"].append(each)
    lines = [*_rows(rows, "l")]
    lines += [
        Line(f"{month}: {wording.count(len({r.sowing.sowing for r in found}), 'sowing')}.",
             "sum", f"{sum(each.amount for each in found):,.0f} l")
        for month, found in by_month.items()
    ]  # fmt: skip
    lines.append(Line("Cells x volume of a cell, and a tenth for what is spilled and settles.",
                      "sum", f"{total:,.0f} l"))  # fmt: skip
    inputs = tuple(_mix_inputs(model, rows))
    same = abs(total - listed) <= _SAME + _SAME_FRAC * listed
    return Working(
        "Mix of the plan",
        wording.count(len({each.sowing.sowing for each in rows}), "sowing"),
        f"{total:,.0f} l",
        inputs,
        tuple(lines),
        total,
        listed,
        compared(f"{total:,.0f} l", f"{listed:,.0f} l", is_same=same),
        sources=citations(inputs, model.few.catalog),
        where=_WHERE,
    )
