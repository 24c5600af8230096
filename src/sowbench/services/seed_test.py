"""A germination test entered replicate by replicate, judged by the published tolerances."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.domain.journal import Entry, EntryKind
from sowbench.exchange.fields import parse_day, parse_whole
from sowbench.reference.seed_rules import (
    RANGE_SOURCE,
    TESTS_SOURCE,
    replicate_ranges,
    tolerances_between_tests,
)
from sowbench.reference.tables import sources
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.science.seed_testing import judge_replicates, results_agree
from sowbench.services import wording
from sowbench.services.house_day import day_in_house
from sowbench.services.seed_germination import Germination, germination_as_tested

if TYPE_CHECKING:
    from sowbench.domain.records import SeedLot
    from sowbench.services.desk import Desk

COUNTS: Final = ("normal", "abnormal", "dead")
_FEW_SEEDS: Final = 200
_FEW_MORE_POINTS: Final = 2.0


@dataclass(frozen=True, slots=True)
class Layout:
    """How a test is laid out; ``n_in_group`` replicates make 100 seeds, 0 if they make fewer."""

    name: str
    n_replicates: int
    n_seeds: int
    n_in_group: int

    @property
    def n_groups(self) -> int:
        """Replicates of 100 seeds that are judged."""
        return self.n_replicates // self.n_in_group if self.n_in_group else 0


LAYOUTS: Final = {
    each.name: each
    for each in (
        Layout("4 x 100", 4, 100, 1),
        Layout("4 x 50", 4, 50, 2),
        Layout("2 x 100", 2, 100, 1),
        Layout("8 x 50", 8, 50, 2),
        Layout("4 x 25", 4, 25, 0),
    )
}
"""Ways of laying a test out, by name."""


@dataclass(frozen=True, slots=True)
class Judged:
    """What the replicates say.

    ``accepted`` is None where no table is published for so few seeds. ``words`` say the verdict,
    ``rule`` which table it rests on, ``do`` what to do; ``other`` compares it with the lot's test;
    ``counts`` are the normal seedlings of each replicate.
    """

    n_tested: int
    n_normal: int
    percents: tuple[float, ...]
    mean_percent: int
    range_points: float | None
    allowed_points: float | None
    accepted: bool | None
    germination: Germination
    words: str
    rule: str
    do: str
    other: str
    counts: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class GerminationForm:
    """A test to fill in; ``values`` and ``problems`` by field, as ``normal_1``."""

    lot: SeedLot
    today: date
    layout: Layout
    values: Mapping[str, str]
    problems: Mapping[str, list[str]] = field(default_factory=dict)
    judged: Judged | None = None


def germination_form(
    desk: Desk, name: str, layout: str = "4 x 100", values: Mapping[str, str] | None = None
) -> GerminationForm:
    """Gather the form of a test.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        The lot.
    layout : str, default "4 x 100"
        How it is laid out; see `LAYOUTS`.
    values : mapping of str to str or None, default None
        What was filled in; with it the test is judged.

    Returns
    -------
    form : GerminationForm
        The form, with the verdict once it is filled in rightly.

    Raises
    ------
    UnknownNameError
        If there is no such lot.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        lot = unit.lots.get(name)
        if lot is None:
            raise UnknownNameError.among(name, "lot", [each.id for each in unit.lots.all()])
    laid = LAYOUTS.get(layout, LAYOUTS["4 x 100"])
    if values is None:
        return GerminationForm(lot, today, laid, {"tested_on": today.isoformat()})
    rows, day, problems = _read(laid, values, today)
    judged = None if problems else _judge(laid, rows, lot, day)
    if judged is not None:
        judged = replace(judged, counts=tuple(normal for normal, _, _ in rows))
    return GerminationForm(lot, today, laid, dict(values), problems, judged)


def keep_germination(
    desk: Desk,
    name: str,
    layout: str,
    values: Mapping[str, str],
    entry_id: str,
    person: str = "",
    *,
    take: bool = True,
) -> GerminationForm:
    """Write a test down, and take it as the lot's test if it stands.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        The lot.
    layout : str
        How it is laid out.
    values : mapping of str to str
        What was filled in.
    entry_id : str
        Id of the entry; the same one written twice counts once.
    person : str, default ""
        Who.
    take : bool, default True
        Whether it becomes the lot's test. One whose replicates differ too much never does.

    Returns
    -------
    form : GerminationForm
        As judged; with problems, nothing was kept.

    Raises
    ------
    UnknownNameError
        If there is no such lot.
    """
    form = germination_form(desk, name, layout, values)
    judged = form.judged
    if judged is None:
        return form
    taken = take and judged.accepted is not False
    rows, day, _ = _read(form.layout, values, form.today)
    now = desk.clock()
    read: dict[str, float | str] = {
        "layout": form.layout.name,
        "normal": " ".join(str(each[0]) for each in rows),
        "abnormal": " ".join(str(each[1]) for each in rows),
        "dead": " ".join(str(each[2]) for each in rows),
        "n_tested": float(judged.n_tested),
        "n_normal": float(judged.n_normal),
        "mean_percent": float(judged.mean_percent),
        "taken": "yes" if taken else "no",
    }
    if judged.range_points is not None and judged.allowed_points is not None:
        read |= {"range_points": judged.range_points, "allowed_points": judged.allowed_points}
    entry = Entry(
        id=entry_id,
        day_date=day,
        kind=EntryKind.READ,
        sowing="",
        lot=name,
        n=judged.n_normal,
        n_of=judged.n_tested,
        note=" ".join(values.get("note", "").split()),
        at=now,
        person=person,
        values=read,
    )
    with desk.book.writing() as unit:
        unit.journal.add([entry], now)
        lot = unit.lots.get(name)
        if taken and lot is not None:
            changed = replace(
                lot, n_tested=judged.n_tested, n_normal=judged.n_normal, tested_on=day
            )
            unit.lots.put([changed], now, person, f"germination test of {day.isoformat()}")
        unit.commit()
    return form


def _read(
    layout: Layout, values: Mapping[str, str], today: date
) -> tuple[list[tuple[int, int, int]], date, dict[str, list[str]]]:
    """Read the replicates, leaving a problem beside each field that is wrong."""
    problems: dict[str, list[str]] = {}
    day = parse_day(values.get("tested_on", "").strip())
    if isinstance(day, str):
        problems["tested_on"] = [day or "The day of the test is written year-month-day."]
        day = today
    elif day > today:
        problems["tested_on"] = [f"The test must not end after today ({today})."]
    rows = []
    for at in range(1, layout.n_replicates + 1):
        counts = [_count(values, f"{name}_{at}", layout.n_seeds, problems) for name in COUNTS]
        normal, abnormal, dead = counts
        if normal is None:
            problems.setdefault(f"normal_{at}", ["Fill in the normal seedlings."])
            continue
        if abnormal is None and dead is None:
            # Who counts normal seedlings alone leaves all others to the dead.
            abnormal, dead = 0, layout.n_seeds - normal
        elif dead is None:
            dead = layout.n_seeds - normal - (abnormal or 0)
        elif abnormal is None:
            abnormal = layout.n_seeds - normal - dead
        total = normal + (abnormal or 0) + dead
        if total != layout.n_seeds or min(normal, abnormal or 0, dead) < 0:
            problems.setdefault(
                f"normal_{at}",
                [f"Replicate {at} adds up to {total}; {layout.n_seeds} seeds were laid out."],
            )
        rows.append((normal, abnormal or 0, dead))
    return rows, day, problems


def _count(
    values: Mapping[str, str], name: str, most: int, problems: dict[str, list[str]]
) -> int | None:
    """Read one count; None if it is blank or wrong."""
    text = values.get(name, "").strip()
    if not text:
        return None
    value = parse_whole(text)
    if isinstance(value, str) or not 0 <= value <= most:
        advice = f" {value}" if isinstance(value, str) and value else ""
        problems[name] = [f"This must be a whole number from 0 to {most}; got {text}.{advice}"]
        return None
    return value


def _judge(layout: Layout, rows: Sequence[tuple[int, int, int]], lot: SeedLot, day: date) -> Judged:
    """Judge the replicates."""
    n_normal = sum(each[0] for each in rows)
    n_tested = layout.n_replicates * layout.n_seeds
    percents = tuple(100.0 * each[0] / layout.n_seeds for each in rows)
    germination = germination_as_tested(n_normal, n_tested)
    mean = int(100.0 * n_normal / n_tested + 0.5)
    other = _against(lot, n_normal, n_tested, day)
    if not layout.n_groups:
        return Judged(
            n_tested, n_normal, percents, mean, None, None, None, germination,
            words=f"{mean} % are normal.",
            rule=f"No range is published for {n_tested} seeds.",
            do="It can be taken; its range is wide. 200 seeds or 400 say more.",
            other=other,
        )  # fmt: skip
    size = layout.n_in_group
    groups = [sum(each[0] for each in rows[at : at + size]) for at in range(0, len(rows), size)]
    groups_percent = [100.0 * each / (size * layout.n_seeds) for each in groups]
    rule = _range_rule(layout)
    try:
        verdict = judge_replicates(groups_percent, replicate_ranges(layout.n_groups))
    except OutOfRangeError as error:
        return Judged(
            n_tested, n_normal, percents, mean, None, None, accepted=False, germination=germination,
            words=f"The mean of {mean} % is outside the table.",
            rule=f"{rule} {error.advice}".strip(),
            do="Write it down and test again.",
            other=other,
        )  # fmt: skip
    spread, allowed = verdict.range_points, verdict.allowed_points
    if verdict.accepted:
        words = f"The replicates agree: they differ by {spread:g} points, {allowed:g} are allowed."
        do = "Take it as the lot's test."
    else:
        words = (
            f"The replicates differ too much: by {spread:g} points, and {allowed:g} are what"
            " chance explains."
        )
        do = (
            "Write it down and test again; until then the lot keeps its test. Look whether one"
            " replicate dried out, stood wet or was laid too close."
        )
    return Judged(
        n_tested, n_normal, percents, verdict.mean_percent, spread, allowed, verdict.accepted,
        germination, words, rule, do, other,
    )  # fmt: skip


def _range_rule(layout: Layout) -> str:
    """Say which table judges the replicates."""
    table = f"{layout.n_groups} replicates of 100"
    joined = ""
    if layout.n_in_group > 1:
        joined = (
            f" Replicates of {layout.n_seeds} are joined two by two as they stand here (common"
            " practice)."
        )
    return f"Allowed range for {table}: {sources()[RANGE_SOURCE].citation}.{joined}"


def _against(lot: SeedLot, n_normal: int, n_tested: int, day: date) -> str:
    """Compare a test with the one that the lot has."""
    if not lot.n_tested or lot.assumed:
        return ""
    before, now = 100.0 * lot.n_normal / lot.n_tested, 100.0 * n_normal / n_tested
    when = f" of {wording.day(lot.tested_on, year=True)}" if lot.tested_on else ""
    if lot.tested_on is not None and lot.tested_on > day:
        return f"The lot has a later test{when}: {before:.0f} %."
    few = min(lot.n_tested, n_tested)
    if few < _FEW_SEEDS:
        return f"Its test{when} gave {before:.0f} %; no tolerance is published for {few} seeds."
    more = _FEW_MORE_POINTS if few < 2 * _FEW_SEEDS else 0.0
    allowed = [(low, high, points + more) for low, high, points in tolerances_between_tests()]
    agrees = results_agree(before, now, allowed)
    by = f"{abs(before - now):.1f} points from its test{when} ({before:.0f} %)"
    source = sources()[TESTS_SOURCE].citation
    if agrees:
        return f"It is {by}, within the tolerance between two tests ({source})."
    why = "age or another sample" if now < before else "another sample or another method"
    return f"It is {by}, more than the tolerance between two tests ({source}): {why}."
