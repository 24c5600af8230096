"""The plan out as tables: orders with chances, sowings, tasks and supplies, under door names.

A text that begins with one of ``= + - @`` would be calculated by a spreadsheet program when the
file is opened. Text of people (names, notes) that begins so, or with a tab or a line end, gets an
apostrophe in front; the readers here take it off again.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path

from sowbench.domain.plan import OrderPlan, Plan, Sowing
from sowbench.domain.records import Order
from sowbench.exchange.files import write_folder
from sowbench.exchange.orders import COLUMNS as ORDER_COLUMNS
from sowbench.exchange.orders import order_values
from sowbench.exchange.plan_json import plan_to_json

CHANCE_COLUMNS = (
    "planned",
    "unmet",
    "chance_enough_frac",
    "chance_in_time_frac",
    "chance_filled_frac",
    "expected_short",
    "hand_over",
    "risky",
    "unmet_reason",
)
SOWING_COLUMNS = (
    "sowing",
    "sow_date",
    "crop",
    "variety",
    "lot",
    "seeds_per_cell",
    "plants_per_cell",
    "n_cells",
    "n_seeds",
    "container",
    "n_containers",
    "shares_tray_with",
    "orders",
    "steps",
    "leaves_on",
    "ready_p10",
    "ready_p50",
    "ready_p90",
    "overgrown_p10",
    "overgrown_p50",
    "plants_p05",
    "plants_p50",
    "plants_p95",
    "standing",
)
TASK_COLUMNS = ("date", "task", "sowing", "place", "minutes", "slack_d", "words")
SUPPLY_COLUMNS = ("needed_on", "order_by", "item", "amount", "unit", "in_stock", "to_buy")

_CALCULATED = ("=", "+", "-", "@", "\t", "\r", "\n")


def safe_text(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet program would calculate.

    Parameters
    ----------
    text : str
        Text that somebody wrote.

    Returns
    -------
    text : str
        The same text, harmless in a spreadsheet.

    Examples
    --------
    >>> safe_text("=1+1"), safe_text("kale")
    ("'=1+1", 'kale')
    """
    return f"'{text}" if text.startswith(_CALCULATED) else text


def table_bytes(columns: Sequence[str], rows: Iterable[Mapping[str, object]]) -> bytes:
    """Write rows as CSV: UTF-8, commas, one header row.

    Parameters
    ----------
    columns : sequence of str
        Header, in order.
    rows : iterable of mapping
        Values by column; absent ones are blank. Text is made harmless, numbers and days are not
        touched.

    Returns
    -------
    data : bytes
        The file.
    """
    stream = io.StringIO(newline="")
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([_cell(row.get(column)) for column in columns] for row in rows)
    return stream.getvalue().encode("utf-8")


def _cell(value: object) -> str:
    """Write one value: a day in ISO 8601, a number with a point, at most six significant places."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.6g}" if abs(value) < 1e6 else f"{value:.2f}"
    if isinstance(value, int | date):
        return str(value)
    return safe_text(str(value))


def orders_table(plan: Plan, orders: Iterable[Order] = ()) -> bytes:
    """Write the orders with their chances; the file can be read again as orders.csv.

    Parameters
    ----------
    plan : Plan
        The plan.
    orders : iterable of Order, default ()
        The orders it was made for, whose columns come first; without them only names and plants.

    Returns
    -------
    data : bytes
        The file.
    """
    known = {each.id: each for each in orders}
    unmet: dict[str, tuple[int, list[str]]] = {}
    for missing in plan.unmet:
        plants, reasons = unmet.get(missing.order, (0, []))
        unmet[missing.order] = (plants + missing.plants, [*reasons, missing.reason])
    rows = []
    for planned in plan.orders:
        order = known.get(planned.order)
        row = {"order": planned.order, "plants": planned.plants}
        row |= order_values(order) if order is not None else {}
        plants, reasons = unmet.get(planned.order, (0, []))
        row |= _chances(planned) | {"unmet": plants, "unmet_reason": "|".join(reasons)}
        rows.append(row)
    named = {each.order for each in plan.orders}
    for name, (plants, reasons) in unmet.items():
        if name not in named:
            order = known.get(name)
            row = {"order": name, "plants": plants}
            row |= order_values(order) if order is not None else {}
            row |= {"planned": 0, "unmet": plants, "unmet_reason": "|".join(reasons)}
            rows.append(row)
    columns = (*ORDER_COLUMNS, *CHANCE_COLUMNS) if known else ("order", "plants", *CHANCE_COLUMNS)
    return table_bytes(columns, rows)


def _chances(planned: OrderPlan) -> dict[str, object]:
    """Name what an order gets by the columns of the table."""
    return {
        "planned": planned.planned,
        "chance_enough_frac": round(planned.chance_enough_frac, 4),
        "chance_in_time_frac": round(planned.chance_in_time_frac, 4),
        "chance_filled_frac": round(planned.chance_filled_frac, 4),
        "expected_short": round(planned.expected_short, 2),
        "hand_over": "|".join(
            f"{each.date} {each.plants} from {each.sowing}" for each in planned.hand_over
        ),
        "risky": "|".join(planned.risky),
    }


def sowings_table(plan: Plan) -> bytes:
    """Write the sowings in the order of their days, each with its way through the house.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    data : bytes
        The file.
    """
    ordered = sorted(plan.sowings, key=lambda each: (each.sow_date, each.sowing))
    return table_bytes(SOWING_COLUMNS, map(_sowing_row, ordered))


def _sowing_row(sowing: Sowing) -> dict[str, object]:
    """Name the values of a sowing by the columns of the table."""
    least, most = sowing.plants_per_cell
    first = sowing.steps[0] if sowing.steps else None
    return {
        "sowing": sowing.sowing,
        "sow_date": sowing.sow_date,
        "crop": sowing.crop,
        "variety": sowing.variety,
        "lot": sowing.lot,
        "seeds_per_cell": sowing.seeds_per_cell,
        # "2 to 5" and not "2-5", which a spreadsheet program takes for a day.
        "plants_per_cell": str(least) if least == most else f"{least} to {most}",
        "n_cells": sowing.n_cells,
        "n_seeds": sowing.n_seeds,
        "container": first.container if first else "",
        "n_containers": first.n_containers if first else None,
        "shares_tray_with": "|".join(first.from_sowings) if first else "",
        "orders": "|".join(f"{each.order}: {each.plants}" for each in sowing.orders),
        "steps": "|".join(
            f"{each.kind.value.replace('_', ' ')} {each.from_date} to {each.to_date}"
            f" in {each.place}, {each.n_containers} {each.container}"
            for each in sowing.steps
        ),
        "leaves_on": max((each.to_date for each in sowing.steps), default=None),
        "ready_p10": sowing.ready_date.p10,
        "ready_p50": sowing.ready_date.p50,
        "ready_p90": sowing.ready_date.p90,
        "overgrown_p10": sowing.overgrown_date.p10,
        "overgrown_p50": sowing.overgrown_date.p50,
        "plants_p05": sowing.plants.p05,
        "plants_p50": sowing.plants.p50,
        "plants_p95": sowing.plants.p95,
        "standing": sowing.standing,
    }


def tasks_table(plan: Plan) -> bytes:
    """Write the tasks day by day.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    data : bytes
        The file.
    """
    ordered = sorted(plan.tasks, key=lambda each: each.date)
    return table_bytes(
        TASK_COLUMNS,
        (
            {
                "date": each.date,
                "task": each.task,
                "sowing": each.sowing,
                "place": each.place,
                "minutes": round(each.minutes, 1),
                "slack_d": each.slack_d,
                "words": each.words,
            }
            for each in ordered
        ),
    )


def supplies_table(plan: Plan) -> bytes:
    """Write what is needed and what is to buy, by the day it must be ordered.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    data : bytes
        The file.
    """
    ordered = sorted(plan.supplies, key=lambda each: (each.order_by, each.needed_on, each.item))
    return table_bytes(
        SUPPLY_COLUMNS,
        ({column: getattr(each, column) for column in SUPPLY_COLUMNS} for each in ordered),
    )


def write_plan_folder(
    plan: Plan,
    folder: str | Path,
    orders: Iterable[Order] = (),
    pictures: Mapping[str, bytes] | None = None,
) -> tuple[Path, ...]:
    """Write plan.json, the tables and the pictures of a plan, all of them or none.

    Parameters
    ----------
    plan : Plan
        The plan.
    folder : str or Path
        Folder to write to; made if it is not there. Other files in it are not touched.
    orders : iterable of Order, default ()
        The orders the plan was made for.
    pictures : mapping of str to bytes, or None, default None
        Pictures by file name.

    Returns
    -------
    paths : tuple of Path
        What was written.

    Raises
    ------
    OutOfRangeError
        If the plan holds a number that is not finite; nothing is written then.
    OSError
        If something cannot be written; the folder is as it was then.
    """
    files = {
        "plan.json": plan_to_json(plan),
        "orders.csv": orders_table(plan, orders),
        "sowings.csv": sowings_table(plan),
        "tasks.csv": tasks_table(plan),
        "supplies.csv": supplies_table(plan),
        **(pictures or {}),
    }
    write_folder(Path(folder), files)
    return tuple(Path(folder) / name for name in files)
