"""The demo as a house book: the invented nursery taken in, planned, and lived up to a day."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from datetime import UTC, datetime, time
from pathlib import Path
from typing import TYPE_CHECKING

from sowbench.demo.played import DEMO_TODAY, played_entries
from sowbench.services.book_inputs import loaded_of, put_inputs
from sowbench.services.demo import lay_out_demo
from sowbench.services.desk import TODAY_SETTING
from sowbench.services.house_day import house_zone
from sowbench.services.kept_plan import new_plan_of

if TYPE_CHECKING:
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.desk import Desk
    from sowbench.services.parts import Made, Progress

PERSON = "demo"


@dataclass(frozen=True, slots=True)
class DemoBook:
    """What went into the demo's book."""

    n_orders: int
    n_sowings: int
    n_entries: int


def fill_demo_book(
    desk: Desk,
    parameters: SolveParameters,
    seed: int = 0,
    progress: Progress | None = None,
    made: Made | None = None,
) -> DemoBook:
    """Take the invented nursery into an empty book, plan it, and live its season up to a day.

    Parameters
    ----------
    desk : Desk
        Desk of the book.
    parameters : SolveParameters
        How to search for the plan.
    seed : int, default 0
        Where the search starts.
    progress : callable or None, default None
        Told how far the search is.
    made : Made or None, default None
        A plan of the demo that is there already; None makes one.

    Returns
    -------
    filled : DemoBook
        What the book holds now.
    """
    with tempfile.TemporaryDirectory() as folder, desk.book.writing() as unit:
        laid = lay_out_demo(Path(folder))
        # The book begins when the season does, so that what is sown comes off the seed in stock.
        now = datetime.combine(laid.from_date, time(8), UTC)
        put_inputs(unit, laid.files, laid.from_date, now, PERSON)
        unit.settings.put(TODAY_SETTING, DEMO_TODAY.isoformat())
        unit.commit()
    with desk.book.reading() as unit:
        loaded = loaded_of(unit, laid.from_date)
        zone = house_zone(unit)
    inputs = loaded.inputs
    if made is None:
        made = desk.parts.make_plan(inputs, parameters, seed, progress)
    entries = played_entries(
        made.plan,
        DEMO_TODAY,
        {each.name: each.kind for each in inputs.house.places},
        {name: each.cells for name, each in inputs.catalog.containers.items()},
        zone,
    )
    with desk.book.writing() as unit:
        new = new_plan_of(made, inputs, house_version=loaded.house_version)
        plan = unit.plans.add(new, now, PERSON)
        if loaded.learned:
            unit.learned.keep_plan(plan, loaded.learned)
        unit.plans.accept(plan, now)
        unit.journal.add(entries, max(each.at or now for each in entries) if entries else now)
        unit.commit()
    return DemoBook(len(made.plan.orders), len(made.plan.sowings), len(entries))
