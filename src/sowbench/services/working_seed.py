"""Workings of seed: what is left of a lot, what the plan takes, and how a test is judged."""

from __future__ import annotations

from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import Entry, EntryKind
from sowbench.reference.seed_rules import RANGE_SOURCE, replicate_ranges
from sowbench.reference.tables import sources
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.seed_testing import judge_replicates
from sowbench.services import wording
from sowbench.services.house_day import house_zone
from sowbench.services.seed_germination import germination_as_tested
from sowbench.services.seed_stock import stocks
from sowbench.services.seed_test import LAYOUTS
from sowbench.services.sowing_emergence import count_points
from sowbench.services.working import PLANNED, YOURS, Input, Line, Working, compared

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.ports import Unit

_MOST_LINES: Final = 40
_EARLIEST: Final = date.min
_MOST_SOWINGS: Final = 100_000


def left_working(unit: Unit, name: str) -> Working:
    """Show how many seeds of a lot are left.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    name : str
        The lot.

    Returns
    -------
    working : Working
        The stock as it was stated, less what was sown since.

    Raises
    ------
    UnknownNameError
        If there is no such lot.
    """
    lot = unit.lots.get(name)
    if lot is None:
        raise UnknownNameError(name, "lot")
    stock = stocks(unit, [lot])[name]
    if stock.n_stated is None:
        line = Line("No stock is stated of this lot, so nothing can be taken off it.")
        return Working("Seeds left", name, "not known", (), (line,))
    stated = unit.seed_page.stock_stated([name]).get(name)
    since = None if stated is None else stated.astimezone(house_zone(unit)).date()
    head = unit.plans.current()
    first = since or lot.tested_on or lot.arrives_on
    sown = [
        each
        for each in unit.seed_page.sown(
            None if head is None else head.id, [name], since or _EARLIEST
        )
        if since is None or each.date >= since
    ]
    left = stock.n_stated
    lines = []
    for each in sorted(sown, key=lambda row: row.date):
        left -= each.n_seeds
        lines.append(
            Line(f"Sown {wording.day(each.date)}:", f"- {each.n_seeds:,}", f"{max(left, 0):,} left")
        )
    if len(lines) > _MOST_LINES:
        lines = [Line(f"{len(lines) - _MOST_LINES} days of sowing before."), *lines[-_MOST_LINES:]]
    figure = max(left, 0)
    lines.append(
        Line(
            "The stock as it was stated, less the seeds of every sowing written down since: as "
            "written, else as planned for its cells.",
            f"{stock.n_stated:,} - {sum(each.n_seeds for each in sown):,}",
            f"{figure:,} seeds",
        )
    )
    return Working(
        "Seeds left",
        f"lot {name}",
        f"{figure:,} seeds",
        (
            Input("stated", f"{stock.n_stated:,}", "seeds",
                  f"on {wording.day(first, year=True)}" if first else "", YOURS),
            Input("sown since", f"{sum(each.n_seeds for each in sown):,}", "seeds", "journal",
                  YOURS),
        ),
        tuple(lines),
        float(figure),
        None if stock.n_left is None else float(stock.n_left),
        where="docs/book.md, section 1",
    )  # fmt: skip


def taken_working(unit: Unit, head: PlanHead, name: str) -> Working:
    """Show how many seeds of a lot the plan still takes.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    head : PlanHead
        The plan.
    name : str
        The lot.

    Returns
    -------
    working : Working
        The seeds of every sowing of it that is not sown yet.

    Raises
    ------
    UnknownNameError
        If there is no such lot.
    """
    if unit.lots.get(name) is None:
        raise UnknownNameError(name, "lot")
    listed = unit.seed_page.sowings_of(head.id, name, _MOST_SOWINGS)
    coming = [each for each in listed if each.sown_date is None and each.ended_date is None]
    planned = unit.sowings_page.planned(head.id, [each.sowing for each in coming])
    coming = [each for each in coming if not planned[each.sowing].standing]
    lines, total = [], 0
    for each in coming:
        sowing = planned[each.sowing]
        n_seeds = sowing.n_cells * sowing.seeds_per_cell
        total += n_seeds
        lines.append(
            Line(f"{each.sowing}, {wording.day(each.sow_date)}:",
                 f"{sowing.n_cells:,} x {sowing.seeds_per_cell}", f"{n_seeds:,} seeds")
        )  # fmt: skip
    if len(lines) > _MOST_LINES:
        lines = [*lines[:_MOST_LINES], Line(f"and {len(lines) - _MOST_LINES} sowings more.")]
    lines.append(
        Line("Cells x seeds a cell, of all sowings that nobody has written down as sown.", "sum",
             f"{total:,} seeds")
    )  # fmt: skip
    take = unit.seed_page.takes(head.id).get(name)
    told = 0 if take is None else take.n_seeds
    return Working(
        "Seeds that the plan takes",
        f"lot {name}",
        f"{total:,} seeds",
        (Input("sowings still to be sown", f"{len(coming):,}", "", "", PLANNED),),
        tuple(lines),
        float(total),
        float(told),
        compared(f"{total:,} seeds", f"{told:,} seeds", is_same=total == told),
        where="docs/model.md, section 6",
    )


def replicates_working(of: str) -> Working:
    """Show how the replicates of a germination test are judged.

    Parameters
    ----------
    of : str
        Layout and the normal seedlings of each replicate, as "4 x 100/97,90,88,83".

    Returns
    -------
    working : Working
        Mean, range and allowed range, from the published table.

    Raises
    ------
    UnknownNameError
        If there is no such layout, or these are not its counts.
    """
    name, _, text = of.partition("/")
    layout = LAYOUTS.get(name)
    if layout is None:
        raise UnknownNameError.among(name, "layout of a test", LAYOUTS)
    counts = [int(each) for each in text.split(",") if each.isascii() and each.isdigit()]
    if len(counts) != layout.n_replicates or max(counts) > layout.n_seeds:
        raise UnknownNameError(text, f"counts of {name}")
    n_tested = layout.n_replicates * layout.n_seeds
    spread = germination_as_tested(sum(counts), n_tested)
    inputs = tuple(
        Input(f"replicate {at}", str(each), f"normal of {layout.n_seeds}", "", YOURS)
        for at, each in enumerate(counts, start=1)
    )
    lines = [
        Line("All replicates together.", f"{sum(counts)} / {n_tested}",
             wording.percent(sum(counts) / n_tested, 1)),
        Line("A test is a sample: eight times in ten the lot lies between.",
             f"p ~ Beta({sum(counts) + 1}, {n_tested - sum(counts) + 1})",
             f"{wording.percent(spread.low_frac)} to {wording.percent(spread.high_frac)}"),
    ]  # fmt: skip
    if not layout.n_groups:
        lines.append(Line(f"No range is published for {n_tested} seeds, so it is not judged."))
        return Working("Germination test", name, "not judged", inputs, tuple(lines))
    size = layout.n_in_group
    groups = [
        100.0 * sum(counts[at : at + size]) / (size * layout.n_seeds)
        for at in range(0, len(counts), size)
    ]
    if size > 1:
        joined = ", ".join(f"{each:g}" for each in groups)
        lines.append(Line("Joined two by two to replicates of 100 seeds (common practice).", "",
                          f"{joined} %"))  # fmt: skip
    citation = ((RANGE_SOURCE, sources()[RANGE_SOURCE].citation),)
    try:
        verdict = judge_replicates(groups, replicate_ranges(layout.n_groups))
    except OutOfRangeError as error:
        lines.append(Line(f"The table has no line for it. {error.advice}".strip()))
        return Working(
            "Germination test", name, "outside the table", inputs, tuple(lines), sources=citation
        )
    lines += [
        Line("Their mean, rounded half up.",
             f"({' + '.join(f'{each:g}' for each in groups)}) / {len(groups)}",
             f"{verdict.mean_percent} %"),
        Line("Highest less lowest.", f"{max(groups):g} - {min(groups):g}",
             f"{verdict.range_points:g} points"),
        Line(f"Allowed at this mean, for {len(groups)} replicates: so much chance explains.",
             "published table", f"{verdict.allowed_points:g} points"),
    ]  # fmt: skip
    return Working(
        "Germination test",
        name,
        "the replicates agree" if verdict.accepted else "they differ too much: test again",
        inputs,
        tuple(lines),
        verdict.range_points,
        sources=citation,
        where="docs/model.md, section 5",
    )


def share_counted_working(unit: Unit, name: str, day: date | None = None) -> Working:
    """Show the share of cells that held what is wanted when a sowing was counted.

    Parameters
    ----------
    unit : Unit
        Unit of work.
    name : str
        The sowing.
    day : date or None, default None
        Day of the counts; None is the last one.

    Returns
    -------
    working : Working
        Cells right of those looked at, over all counts of the day.

    Raises
    ------
    UnknownNameError
        If nothing of it was counted, or not on that day.
    """
    counts = unit.sowings_page.told_by(name, [EntryKind.COUNTED], _MOST_SOWINGS)
    points = count_points(counts, unit.sowings_page.trays(name))
    found = [each for each in points if day is None or each.day == day]
    if not found:
        raise UnknownNameError(name, "sowing that was counted on that day")
    point = found[-1]
    right = seen = 0
    lines = []
    last: dict[tuple[int, ...], Entry] = {}
    for each in counts:
        if each.day_date == point.day:
            last[each.trays] = each
    cells = {each.number: each.n_cells for each in unit.sowings_page.trays(name)}
    for trays, each in last.items():
        n, n_of = each.n or 0, each.n_of
        if n_of is None:
            n_of = sum(cells.get(at, 0) for at in trays) if trays else sum(cells.values())
        n_of = max(n_of, n)
        right, seen = right + n, seen + n_of
        named = f"Tray {', '.join(map(str, trays))}" if trays else "The whole sowing"
        lines.append(
            Line(f"{named}{f', counted by {each.person}' if each.person else ''}:",
                 f"{n:,} of {n_of:,}", wording.percent(n / n_of if n_of else 0.0))
        )  # fmt: skip
    share = right / seen if seen else 0.0
    lines.append(
        Line("Cells with what is wanted, of all that were looked at; of a tray counted twice that "
             "day the last count holds.", f"{right:,} / {seen:,}", wording.percent(share, 1))
    )  # fmt: skip
    return Working(
        "Counted",
        f"{name}, {wording.day(point.day)}",
        f"{right:,} of {seen:,}, {wording.percent(share)}",
        (Input("counts", f"{len(last)}", "", "journal", YOURS),),
        tuple(lines),
        share,
        point.share,
        where="docs/book.md, section 2",
    )
