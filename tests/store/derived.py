"""What the store's tests look at, and the plan that they start from."""

from datetime import date
from typing import Any

from sqlalchemy import select

from sowbench.domain.plan import Plan, Sowing, Span, Spread, Step, Supply, Task
from sowbench.domain.records import StepKind
from sowbench.store.tables import DERIVED


def derived_rows(book):
    """Return all derived rows, by table."""
    with book.reading() as unit:
        return {
            table.name: [
                tuple(row)
                for row in unit._connection.execute(select(table).order_by(*table.primary_key))
            ]
            for table in DERIVED
        }


def sowing_of(name, first=date(2027, 3, 1), last=date(2027, 4, 1)):
    """Return a planned sowing of three trays."""
    steps = (
        Step(StepKind.GERMINATE, "plug-8", 3, 20, 900.0, "chamber", first, date(2027, 3, 4)),
        Step(StepKind.GROW, "plug-8", 3, 20, 900.0, "bench", date(2027, 3, 4), last),
    )
    return Sowing(
        *(name, (), "lettuce", "Plain", "L-1", 1, (1, 1), 20, 20, first, steps),
        *(Span(last, last), Span(last, last), Spread(15, 17, 19)),
    )


def plan_of(*names, **more):
    """Return a plan of these sowings."""
    first, last = date(2027, 3, 1), date(2027, 4, 1)
    given: dict[str, Any] = {
        "from_date": first,
        "until_date": last,
        "cost": 12.5,
        "cost_parts": {"seed": 12.5},
        "bound": 10.0,
        "gap_frac": 0.2,
        "gap_without_short_frac": 0.1,
        "seconds": 1.5,
        "seed": 0,
        "assumptions": ("a",),
        "orders": (),
        "sowings": tuple(map(sowing_of, names)),
        "unmet": (),
        "tasks": tuple(Task(first, "sow", name, "chamber", 12.0) for name in names),
        "supplies": (Supply(first, first, "mix", 12.5, "l", 2.5, 10.0),),
        "prices": (),
    }
    return Plan(**(given | more))
