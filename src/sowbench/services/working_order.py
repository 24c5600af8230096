"""Workings of an order: the chances that it is enough, in time, and filled."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING, Final

from sowbench.checking.chances import need_cells
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
from sowbench.services.working_sowing import lot_inputs

if TYPE_CHECKING:
    from sowbench.checking.chances import Part
    from sowbench.domain.records import Order
    from sowbench.services.working_model import Recomputed

# Two exact sums of the same chance differ by less than this, whatever is rounded on the way.
_SAME_FRAC: Final = 0.0005
_WHERE: Final = "docs/model.md, section 5"


class Chance(StrEnum):
    """Which of an order's chances."""

    ENOUGH = "enough"
    IN_TIME = "in-time"
    FILLED = "filled"


_TITLES: Final = {
    Chance.ENOUGH: "Chance that there are enough",
    Chance.IN_TIME: "Chance that it is ready in time",
    Chance.FILLED: "Chance of all, and in time",
}


def chance_working(model: Recomputed, name: str, which: Chance) -> Working:
    """Show how sure an order is.

    Parameters
    ----------
    model : Recomputed
        The sowings of the order worked out once more.
    name : str
        The order.
    which : Chance
        Which of its chances.

    Returns
    -------
    working : Working
        The chance, exactly, beside what the plan says.
    """
    row = model.few.order_plans[name]
    order = model.season.orders.get(name)
    title = _TITLES[which]
    if order is None:
        return Working(title, name, "this order is no longer open", (), ())
    parts = model.parts(order)
    chances = model.chances(order, row.planned)
    found = {
        Chance.ENOUGH: (chances.enough_frac, row.chance_enough_frac),
        Chance.IN_TIME: (chances.in_time_frac, row.chance_in_time_frac),
        Chance.FILLED: (chances.filled_frac, row.chance_filled_frac),
    }
    figure, planned = found[which]
    inputs = _inputs(model, order, row.planned, parts, which)
    lines: list[Line] = []
    if which is not Chance.IN_TIME:
        lines += _enough_lines(model, order, row.planned, parts)
    if which is not Chance.ENOUGH:
        lines += _time_lines(model, order, parts)
    if which is Chance.FILLED:
        product = chances.enough_frac * chances.in_time_frac
        is_product = abs(product - chances.filled_frac) <= _SAME_FRAC
        lines.append(
            Line(
                "Both at once: on some day of the window what is ready and not overgrown is "
                "enough. A slow season delays and thins together, so this is not simply one "
                f"chance times the other{', though here it comes to the same' * is_product}.",
                f"{'about' if is_product else 'not'} {chances.enough_frac:.3f} x "
                f"{chances.in_time_frac:.3f} = {product:.3f}",
                wording.percent(chances.filled_frac, 1),
            )
        )
    here = wording.percent(figure, 1)
    return Working(
        title,
        f"{name}{f', {order.customer}' if order.customer else ''}",
        f"{here}: {wording.chance(figure)}",
        inputs,
        tuple(lines),
        figure,
        planned,
        compared(
            here, wording.percent(planned, 1), is_same=abs(figure - planned) <= _SAME_FRAC
        ),
        sources=citations(inputs, model.few.catalog),
        where=_WHERE,
    )  # fmt: skip


def _inputs(
    model: Recomputed, order: Order, planned: int, parts: list[Part], which: Chance
) -> tuple[Input, ...]:
    """What is wanted, when, and what each sowing gives."""
    season = model.season
    enough, _ = need_cells(season, order, planned)
    inputs = [
        Input("wanted", amount(order.plants), f"{order.unit}s", f"order {order.id}", YOURS),
        Input("enough is", f"{enough:,}", "usable cells", f"at least {order.min_frac:.0%}", YOURS),
    ]
    if which is not Chance.ENOUGH:
        inputs.append(
            Input(
                "days that serve",
                wording.span(order.earliest_date, order.latest_date),
                "",
                f"wanted {wording.day(order.wanted_date)}",
                YOURS,
            )
        )
    for each in parts:
        sowing = each.sowing
        stand = each.stand
        if which is not Chance.IN_TIME:
            usable, weights = stand.usable_at_nodes()
            mean = float(season.w_weights @ usable @ weights)
            cells = stand.n_cells if stand.n_counted is None else stand.n_counted
            inputs += [
                Input(
                    f"{sowing.sowing}: {'cells' if stand.n_counted is None else 'counted'}",
                    amount(cells), "", "", PLANNED,
                ),
                Input(f"{sowing.sowing}: usable share", wording.percent(mean, 1), "",
                      "opens in plants to expect", WORKED_OUT),
            ]  # fmt: skip
            if stand.n_counted is None:
                inputs += lot_inputs(model.lot(sowing))
        if which is not Chance.ENOUGH:
            span = model.ready(sowing)
            inputs.append(
                Input(
                    f"{sowing.sowing}: ready",
                    wording.span(span.p10, span.p90),
                    "8 times in 10",
                    "opens in ready window",
                    WORKED_OUT,
                )
            )
    own = order.confidence_frac is not None
    inputs.append(
        Input("sureness wanted", wording.percent(season.confidence(order)), "", "",
              YOURS if own else HOUSE)
    )  # fmt: skip
    if which is not Chance.ENOUGH:
        inputs.append(
            Input("weather from year to year", amount(model.few.house.weather_spread_c),
                  "°C, a week", "", HOUSE if model.few.weather is not None else ASSUMED)
        )  # fmt: skip
    return tuple(dict.fromkeys(inputs))


def _enough_lines(model: Recomputed, order: Order, planned: int, parts: list[Part]) -> list[Line]:
    """How many usable cells there may be."""
    enough, _ = need_cells(model.season, order, planned)
    before = sum(each.before for each in parts)
    chances = model.chances(order, planned)
    lines = [
        Line(
            "For five kinds of season and nine kinds of lot: the chance of each number of usable "
            "cells, tray by tray; sowings of one lot share its germination.",
            "Σ over season and lot, P(usable ≥ enough)",
            "",
        )
    ]
    if before:
        lines.append(
            Line(
                "Orders wanted before it are filled first from a shared sowing.",
                f"usable - {before:,}",
                "",
            )
        )
    lines.append(
        Line(
            f"Chance of at least {enough:,} usable cells.",
            f"P(usable ≥ {enough:,})",
            wording.percent(chances.enough_frac, 1),
        )
    )
    return lines


def _time_lines(model: Recomputed, order: Order, parts: list[Part]) -> list[Line]:
    """When they may be ready."""
    chances = model.chances(order, model.few.order_plans[order.id].planned)
    together = (
        "every sowing on some day of its own"
        if order.partial
        else "one day on which every sowing is ready and none is overgrown"
    )
    n = wording.count(len(parts), "sowing")
    return [
        Line(
            f"For five kinds of season, all paces of the crop ({n}): is there, within the window, "
            f"{together}?",
            "Σ over seasons, Φ(z to) - Φ(z from)",
            wording.percent(chances.in_time_frac, 1),
        )
    ]
