"""Working of the plants that are free to sell: what is to be expected, less what is ordered."""

from __future__ import annotations

from datetime import date, timedelta
from math import sqrt
from typing import TYPE_CHECKING, Final

from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.orders_free import free_crop, ready_in_week
from sowbench.services.working import (
    PLANNED,
    WORKED_OUT,
    YOURS,
    Input,
    Line,
    Working,
    amount,
    compared,
)
from sowbench.services.working_few import few_sowings
from sowbench.services.working_model import model_of

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.ports import Unit

SEPARATOR: Final = "|"
"""Between crop and variety in the address."""


def free_working(unit: Unit, head: PlanHead, of: str, day: date, today: date) -> Working:
    """Show how many plants of a crop are free to sell in a week.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    of : str
        Crop and variety, with a bar between them.
    day : date
        A day of the week.
    today : date
        The day in the house.

    Returns
    -------
    working : Working
        The middle of what each sowing gives, less what is meant for orders.

    Raises
    ------
    UnknownNameError
        If nothing of it becomes ready in that week.
    """
    crop, _, variety = of.partition(SEPARATOR)
    monday = day - timedelta(days=day.weekday())
    sowings = ready_in_week(
        monday, unit.orders_page.sowings_of(head.id, today, head.until_date), today
    ).get((crop, variety))
    if not sowings:
        raise UnknownNameError(f"{crop} {variety}".strip(), "crop that is ready in this week")
    model = model_of(few_sowings(unit, head, [each.sowing for each in sowings]))
    shown = free_crop(crop, variety, sowings, model.few.catalog)
    inputs: list[Input] = []
    lines: list[Line] = []
    middle = 0
    low = high = 0.0
    for each in sowings:
        spread = model.spread(each)
        meant = sum(share.plants for share in each.orders)
        orders = wording.listed(share.order for share in each.orders) or "no order"
        ready = model.ready(each).p50
        inputs += [
            Input(f"{each.sowing}: to expect", f"{spread.p50:,}",
                  f"plants, {spread.p05:,} to {spread.p95:,}", "opens in plants to expect",
                  WORKED_OUT),
            Input(f"{each.sowing}: meant for orders", amount(meant), "plants", orders, YOURS),
            Input(f"{each.sowing}: ready, in the middle", wording.day(ready), "",
                  "opens in ready window", PLANNED),
        ]  # fmt: skip
        lines.append(
            Line(f"{each.sowing}:", f"{spread.p50:,} - {meant:,}", f"{spread.p50 - meant:,} plants")
        )
        middle += spread.p50 - meant
        low += (spread.p50 - spread.p05) ** 2
        high += (spread.p95 - spread.p50) ** 2
    figure = max(middle, 0)
    words = "Together." if len(sowings) > 1 else "This is all of it."
    lines.append(Line(words, "sum", f"{figure:,} plants"))
    lines.append(
        Line(
            "Nine times in ten between these: each sowing comes up by its own luck, so their "
            "ranges add up by their squares.",
            f"{middle:,} - √{low:,.0f} to {middle:,} + √{high:,.0f}",
            f"{max(round(middle - sqrt(low)), 0):,} to {max(round(middle + sqrt(high)), 0):,}",
        )
    )
    here, plan = f"{figure:,} plants", f"{shown.plants:,} plants"
    return Working(
        "Free to sell",
        f"{shown.crop_name}{f', {variety}' if variety else ''}, week of "
        f"{wording.span(monday, monday + timedelta(days=6))}",
        here,
        tuple(inputs),
        tuple(lines),
        float(figure),
        float(shown.plants),
        compared(here, plan, is_same=figure == shown.plants),
        where="docs/model.md, section 5",
    )
