"""A plan as text: what is true first, then what to do, then what it rests on."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Final

from sowbench.cli.text import WIDTH, Column, block, heading, table, wrap
from sowbench.services import wording
from sowbench.services.cards import lot_words
from sowbench.services.offers import helps, reason_words

if TYPE_CHECKING:
    from sowbench.domain.plan import Moved, Supply
    from sowbench.services.summary import (
        DaySheet,
        DayTask,
        Peak,
        RiskyOrder,
        SowDay,
        SowingLine,
        Summary,
        UnmetOrder,
    )

_MOST_RISKY: Final = 12
_MOST_SOW_DAYS: Final = 6
_MOST_TO_BUY: Final = 12
_MOST_NAMES: Final = 4
INDENT: Final = "  "


def plan_lines(
    summary: Summary, width: int = WIDTH, *, every: bool = False, assumptions: bool = False
) -> list[str]:
    """Say a plan.

    Parameters
    ----------
    summary : Summary
        What the plan says.
    width : int, default 100
        Most columns of a line.
    every : bool, default False
        Whether all sowing days, risky orders and supplies are listed, or the first ones.
    assumptions : bool, default False
        Whether each assumption is listed, or their number told.

    Returns
    -------
    lines : list of str
        The text.
    """
    lines = [heading(_headline(summary))]
    for sentence in _opening(summary):
        lines += wrap(sentence, width)
    lines += block(
        f"Not planned, wholly or in part: {wording.count(len(summary.unmet), 'order')}",
        _unmet_lines(summary, width),
    )
    lines += _risky_block(summary.risky, width, every=every)
    lines += _untimely_block(summary.untimely, width, every=every)
    lines += _moved_block(summary.moved, width, every=every)
    lines += _days_block(summary.days, width)
    lines += _sowing_block(summary.sow_days, width, every=every)
    lines += _buy_block(summary.to_buy, width, every=every)
    lines += block("How full it gets", _peak_lines(summary.peaks, width))
    lines += _ground_block(summary, width, assumptions=assumptions)
    return lines


def _headline(summary: Summary) -> str:
    """Say how many orders are planned."""
    n, of = summary.n_planned, summary.n_orders
    if n == of:
        return f"All {of:,} orders are planned." if of > 1 else "The order is planned."
    if of == 1:
        return f"The order is {'planned in part' if summary.n_partly else 'not planned'}."
    partly = f", {summary.n_partly} more in part" if summary.n_partly else ""
    return f"{n} of {of} orders are planned{partly}."


def _opening(summary: Summary) -> list[str]:
    """Say how many plants of how many sowings, what they cost, and how good that is."""
    standing = (
        f" and from {wording.count(summary.n_standing, 'sowing')} that"
        f" {'stands' if summary.n_standing == 1 else 'stand'} already"
        if summary.n_standing
        else ""
    )
    if not summary.n_sowings and not summary.n_standing:
        return ["Nothing is to be sown.", _cost_words(summary)]
    plants = (
        f"{wording.count(summary.n_plants_planned, 'plant')} come from"
        f" {wording.count(summary.n_sowings, 'sowing')}"
        f" with {wording.count(summary.n_seeds, 'seed')}{standing},"
        f" from {wording.day(summary.from_date, year=True)}"
        f" to {wording.day(summary.until_date, year=True)}."
    )
    timely = (
        f"{wording.percent(summary.on_time_frac)} of them can be expected to be ready, and not"
        " overgrown, on a day that serves; the others will be too young or too old that day."
    )
    return [plants, timely, _cost_words(summary), gap_words(summary)]


def _cost_words(summary: Summary) -> str:
    """Say the cost and its larger parts."""
    parts = sorted(
        ((name, each) for name, each in summary.cost_parts.items() if each >= 0.005),
        key=lambda each: -each[1],
    )
    said = ", ".join(f"{_PART_WORDS.get(name, name)} {wording.money(each)}" for name, each in parts)
    cost = wording.money(summary.cost, summary.currency)
    back = -summary.cost_parts.get("surplus", 0.0)
    less = f", less {wording.money(back)} for plants too many" if back >= 0.005 else ""
    return f"It costs {cost}: {said}{less}."


_PART_WORDS: Final = {
    "short": "plants that may be short",
    "late": "lateness",
    "overgrown": "overgrown plants",
}


def gap_words(summary: Summary) -> str:
    """Say how far from the cheapest plan this one can be at most."""
    if summary.gap_frac < 0.0005:
        return "No plan can be cheaper by more than a hair: this is proven."
    words = (
        f"That is at most {wording.percent(summary.gap_frac, 1)} above the cheapest possible plan"
    )
    other = summary.gap_without_short_frac
    if abs(other - summary.gap_frac) >= 0.0005 and other > 0:
        words += f" ({wording.percent(other, 1)} with the money for short plants left out)"
    return f"{words}: this is proven."


def _unmet_lines(summary: Summary, width: int) -> list[str]:
    lines: list[str] = []
    for each in summary.unmet:
        lines += wrap(_unmet_words(each), width, INDENT)
        for offer in helps(each, summary.currency):
            lines += wrap(offer, width, INDENT * 3, INDENT * 2 + "→ ")
    return lines


def _unmet_words(each: UnmetOrder) -> str:
    """Say what of an order is not planned, and why."""
    of = "" if each.plants_unmet >= each.plants_ordered else f" of {each.plants_ordered:,}"
    who = f" for {each.customer}" if each.customer else ""
    why = each.words or reason_words(each.reason)
    return (
        f"{each.order}{who}: {each.plants_unmet:,}{of} {each.crop} plants"
        f" for {wording.day(each.wanted_date)}. {_sentence(why)}"
    )


def _sentence(words: str) -> str:
    """Begin with a capital and end with a point."""
    words = words.strip()
    if not words:
        return ""
    return f"{wording.sentence_start(words)}{'' if words.endswith(('.', '!', '?')) else '.'}"


def _risky_block(risky: Sequence[RiskyOrder], width: int, *, every: bool) -> list[str]:
    """List orders that may come short, each with its weak part."""
    shown = risky if every else risky[:_MOST_RISKY]
    lines: list[str] = []
    for each in shown:
        who = f" for {each.customer}" if each.customer else ""
        lines += wrap(
            f"{each.order}{who}: {each.plants:,} {each.crop} plants for"
            f" {wording.day(each.wanted_date)}; enough {wording.percent(each.chance_enough_frac)},"
            f" in time {wording.percent(each.chance_in_time_frac)}.",
            width,
            INDENT,
        )
        for part in each.weak_parts:
            lines += wrap(_sentence(part), width, INDENT * 3, INDENT * 2 + "→ ")
    lines += _more(len(risky) - len(shown), "order", "orders.csv")
    return block(f"May come short: {wording.count(len(risky), 'order')}", lines)


def _untimely_block(untimely: Sequence[RiskyOrder], width: int, *, every: bool) -> list[str]:
    """List orders that more likely than not miss their days."""
    shown = untimely if every else untimely[:_MOST_RISKY]
    rows = [
        (
            each.order,
            each.customer,
            f"{each.plants:,}",
            each.crop,
            wording.day(each.wanted_date),
            wording.percent(each.chance_in_time_frac),
        )
        for each in shown
    ]
    columns = (
        Column("order", flexible=True),
        Column("for", flexible=True),
        Column("plants", right=True),
        Column("crop", flexible=True),
        Column("wanted"),
        Column("in time", right=True),
    )
    lines = table(columns, rows, width, INDENT)
    lines += _more(len(untimely) - len(shown), "order", "orders.csv")
    n = wording.count(len(untimely), "order")
    return block(f"More likely than not too early or too late for their days: {n}", lines)


def _more(n: int, noun: str, file: str) -> list[str]:
    """Say how many more there are, and where."""
    return [f"{INDENT}and {wording.count(n, f'more {noun}')}, in {file}"] if n > 0 else []


def _moved_block(moved: Sequence[Moved], width: int, *, every: bool) -> list[str]:
    """List what the new plan does otherwise than the one it was to keep to."""
    shown = moved if every else moved[:_MOST_RISKY]
    lines: list[str] = []
    for each in shown:
        change = (
            f"{each.before} → {each.after}"
            if each.before and each.after
            else (each.after or each.before)
        )
        lines += wrap(f"{each.sowing}, {each.what}: {change}", width, INDENT * 2, INDENT)
    lines += _more(len(moved) - len(shown), "change", "plan.json")
    return block(f"Moved against the plan kept: {wording.count(len(moved), 'change')}", lines)


def _days_block(days: Sequence[DaySheet], width: int) -> list[str]:
    """Set the days ahead one under another; days that only ask for water are one line together."""
    lines: list[str] = []
    for sheets in _runs(days):
        first, last = sheets[0], sheets[-1]
        if _is_only_water(first):
            (water,) = first.tasks
            days_of = wording.day(first.date)
            if last is not first:
                days_of += f" to {wording.day(last.date)}"
            each_day = wording.minutes(sum(each.minutes for each in sheets) / len(sheets))
            lines += wrap(
                f"{days_of}, only water ({water.place}), {each_day}"
                f"{' a day' if last is not first else ''}",
                width,
                INDENT,
            )
            continue
        lines += wrap(f"{wording.day(first.date)}, {wording.minutes(first.minutes)}", width, INDENT)
        lines += table(
            (
                Column(""),
                Column("", flexible=True),
                Column("", flexible=True, least=20),
                Column("", right=True),
            ),
            [_task_row(each) for each in first.tasks],
            width,
            INDENT * 2,
        )
    return block("The next 14 days", lines)


def _is_only_water(sheet: DaySheet) -> bool:
    """Tell whether a day asks for nothing but water."""
    return [each.task for each in sheet.tasks] == ["water"]


def _runs(days: Sequence[DaySheet]) -> list[list[DaySheet]]:
    """Put days on end that only ask for water in the same places together."""
    runs: list[list[DaySheet]] = []
    for sheet in days:
        before = runs[-1][-1] if runs else None
        if (
            before is not None
            and _is_only_water(sheet)
            and _is_only_water(before)
            and before.tasks[0].place == sheet.tasks[0].place
            and (sheet.date - before.date).days == 1
        ):
            runs[-1].append(sheet)
        else:
            runs.append([sheet])
    return runs


def _task_row(task: DayTask) -> tuple[str, str, str, str]:
    """Say one task: what, where, of what."""
    if task.task == "change lot":
        what = wording.count(task.n, "lot")
    elif task.task == "water":
        what = ""
    elif len(task.sowings) > _MOST_NAMES:
        what = f"{wording.count(len(task.sowings), 'sowing')}: {named(task.crops)}"
    else:
        what = wording.listed(task.sowings)
    if len(task.words) == 1 and task.task not in {"change lot", "water"}:
        what = f"{what}: {task.words[0]}" if what else task.words[0]
    return task.task, task.place, what, wording.minutes(task.minutes)


def named(names: Iterable[str], most: int = _MOST_NAMES) -> str:
    """Name the first few of several.

    Parameters
    ----------
    names : iterable of str
        Names; each is said once.
    most : int, default 4
        How many are named.

    Returns
    -------
    text : str
        As "a, b, c and 5 more".
    """
    every = list(dict.fromkeys(names))
    if len(every) <= most:
        return wording.listed(every)
    return f"{', '.join(every[:most])} and {len(every) - most} more"


def _sowing_block(days: Sequence[SowDay], width: int, *, every: bool) -> list[str]:
    if not days:
        return []
    shown = days if every else days[:_MOST_SOW_DAYS]
    columns = (
        Column("sowing", flexible=True, least=16),
        Column("lot", flexible=True, least=12),
        Column("in", flexible=True, least=13),
        Column("cells x seeds", right=True),
        Column("to", flexible=True, least=8),
        Column("ready"),
    )
    lines: list[str] = []
    for each in shown:
        lots = wording.count(each.n_lots, "lot")
        n_sowings = wording.count(len(each.sowings), "sowing")
        lines += ["", f"{INDENT}{wording.day(each.date)}: {n_sowings}, {lots}"]
        lines += table(columns, [_sowing_row(line) for line in each.sowings], width, INDENT * 2)
        for line in each.sowings:
            if line.shares:
                lines += wrap(f"{line.sowing} {line.shares}.", width, INDENT * 3)
    n_more = len(days) - len(shown)
    if n_more > 0:
        lines += ["", *_more(n_more, "sowing day", "sowings.csv; or print all with --all")]
    title = f"What to sow: {wording.count(sum(len(each.sowings) for each in days), 'sowing')}"
    title += f" on {wording.count(len(days), 'day')} (ready: 8 times in 10 between the two days)"
    return block(title, lines[1:])


def _sowing_row(line: SowingLine) -> tuple[str, ...]:
    """Name a sowing for the table."""
    variety = f"'{line.variety}', " if line.variety else ""
    last = line.ready_p90_date
    ready = wording.short_day(line.ready_p10_date)
    if last is not None and last != line.ready_p10_date:
        ready += f" to {wording.short_day(last)}"
    named_so = line.sowing.casefold().startswith(line.crop.casefold())
    return (
        line.sowing if named_so else f"{line.sowing} {line.crop}",
        f"{variety}{lot_words(line.lot).removeprefix('lot ')}",
        f"{line.n_containers} x {line.container}",
        f"{line.n_cells:,} x {line.seeds_per_cell}",
        line.place,
        ready,
    )


def _buy_block(to_buy: Sequence[Supply], width: int, *, every: bool) -> list[str]:
    if not to_buy:
        return []
    shown = to_buy if every else to_buy[:_MOST_TO_BUY]
    rows = [
        (
            wording.short_day(each.order_by),
            wording.short_day(each.needed_on),
            each.item,
            _how_much(each),
            wording.amount(each.in_stock) if each.in_stock else "none",
        )
        for each in shown
    ]
    columns = (
        Column("order by", right=True),
        Column("needed", right=True),
        Column("what", flexible=True, least=20),
        Column("how much", right=True),
        Column("in stock", right=True),
    )
    lines = table(columns, rows, width, INDENT)
    lines += _more(len(to_buy) - len(shown), "thing", "supplies.csv")
    return block("What to buy, by the day to order it", lines)


def _how_much(supply: Supply) -> str:
    """Say how much of something to buy."""
    unit = supply.unit.removesuffix("s") if supply.to_buy == 1 else supply.unit
    return f"{wording.amount(supply.to_buy)} {unit}".strip()


def _peak_lines(peaks: Sequence[Peak], width: int) -> list[str]:
    rows = []
    for each in peaks:
        name = "The crew" if each.hands else each.name
        if each.capacity is None or each.capacity <= 0:
            full, of = "", ""
        else:
            full = wording.percent(each.use / each.capacity)
            of = f" of {wording.amount(each.capacity)}"
        often = f"full on {wording.count(each.n_days_full, 'day')}" if each.n_days_full else ""
        rows.append(
            (
                name,
                full,
                f"{wording.amount(each.use)}{of} {each.unit}",
                wording.day(each.date),
                often,
            )
        )
    columns = (
        Column("", flexible=True),
        Column("at most", right=True),
        Column("", right=True),
        Column("on"),
        Column(""),
    )
    return table(columns, rows, width, INDENT)


def _ground_block(summary: Summary, width: int, *, assumptions: bool) -> list[str]:
    """Say what the plan rests on, and what was noted while reading."""
    lines: list[str] = []
    n = len(summary.assumptions)
    if n and not assumptions:
        values = "value" if n == 1 else "values"
        lines += wrap(
            f"{n} {values} had to be assumed because no file gave them;"
            " --assumptions lists each with where to change it.",
            width,
            INDENT,
        )
    elif n:
        for each in wording.assumed(summary.assumptions):
            lines += wrap(each, width, INDENT * 2, INDENT + "- ")
    title = f"Assumed: {wording.count(n, 'value')}" if assumptions and n else "What it rests on"
    lines = block(title, lines)
    noted: list[str] = []
    for each in summary.notes:
        noted += wrap(each, width, INDENT * 2, INDENT + "- ")
    return [*lines, *block("Noted while reading", noted)]
