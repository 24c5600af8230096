"""Days of a sowing: chamber exit, potting on, toning, ready and overgrown, handing over."""

from __future__ import annotations

from datetime import date

import numpy as np

from sowbench.checking.report import Ledger, Severity
from sowbench.checking.season import Season
from sowbench.checking.timeline import Timeline, Timelines, quantile_day
from sowbench.domain.plan import Sowing, Step
from sowbench.domain.records import StepKind

LATE_MOST_D = 7
CLOSE_D = 1


def check_timing(season: Season, lines: Timelines, ledger: Ledger) -> None:
    """Recompute every day of every sowing."""
    for sowing in season.plan.sowings:
        line = lines.of(sowing)
        if line is None:
            ledger.require(
                False,  # noqa: FBT003
                "timeline can be computed", sowing.sowing,
                "Its crop, ready rule or places are unknown.",
            )  # fmt: skip
            continue
        if not season.is_given(sowing):
            _check_exit(season, ledger, sowing, line)
        if sowing.steps:
            _check_moves(season, ledger, sowing, line)
        if not season.is_given(sowing):
            _check_last_place(season, ledger, sowing)
        _check_spans(season, ledger, sowing, line)
        _check_hand_over(season, ledger, sowing, line)


def _step(sowing: Sowing, kind: StepKind) -> Step | None:
    """Return the first step of a kind."""
    return next((each for each in sowing.steps if each.kind is kind), None)


def _check_exit(season: Season, ledger: Ledger, sowing: Sowing, line: Timeline) -> None:
    """The tray leaves its germinating place at the first visit after the root shows."""
    hour = line.exit_h[0]
    if np.isnan(hour):
        return
    ledger.require(
        bool(line.exit_ok[0]), "somebody is there to lift the tray out", sowing.sowing,
        f"The root shows at hour {line.due_h[0]:.0f} and the next visit is at {hour:.0f}.",
    )  # fmt: skip
    step = _step(sowing, StepKind.GERMINATE)
    if step is not None and np.isfinite(hour):
        _close(
            ledger, "day of leaving the chamber", sowing.sowing, season.day(hour // 24),
            step.to_date,
        )  # fmt: skip


def _check_moves(season: Season, ledger: Ledger, sowing: Sowing, line: Timeline) -> None:
    """Potting on, spacing and toning begin on their days."""
    w, z = line.middle
    last = season.index(sowing.steps[-1].to_date)
    for kind, fraction in (
        (StepKind.POT_ON, line.pot_on_day[0]),
        (StepKind.SPACE, line.space_day[0]),
    ):
        step = _step(sowing, kind)
        if step is None or np.isnan(fraction) or sowing.sowing in season.standings:
            continue
        due = season.work_day_from(int(fraction)) if np.isfinite(fraction) else last
        _close(ledger, f"day to {kind}", sowing.sowing, season.day(due), step.from_date)
    grown = line.grown_day[0, w, z]
    step = _step(sowing, StepKind.TONE)
    if step is not None and np.isfinite(grown):
        due = min(season.work_day_from(int(np.ceil(grown - 1e-9))), last)
        if sowing.sowing in season.standings:
            due = max(due, season.index(season.inputs.from_date))
        _close(ledger, "day to tone", sowing.sowing, season.day(due), step.from_date)
    hold = _step(sowing, StepKind.HOLD)
    if hold is not None:
        ready = _midnight(line.ready_day[0, w, z])
        early = season.index(hold.from_date)
        ledger.require(
            early >= ready - CLOSE_D, "held from the ready day on", sowing.sowing,
            "It goes into the cold store before it is ready.",
            season.day(int(min(ready, season.n_days))), hold.from_date,
        )  # fmt: skip
        ledger.require(
            season.is_given(sowing) or season.is_work_day(hold.from_date),
            "into a cold store on a work day", sowing.sowing,
            f"{hold.from_date:%A} {hold.from_date} is a day off.",
        )  # fmt: skip
        crop = season.catalog.crops[sowing.crop]
        ledger.require(
            (hold.to_date - hold.from_date).days <= crop.hold_d, "held no longer than it keeps",
            sowing.sowing, "It stands longer in the cold store.",
            f"{crop.hold_d} d", f"{(hold.to_date - hold.from_date).days} d",
        )  # fmt: skip


def _check_last_place(season: Season, ledger: Ledger, sowing: Sowing) -> None:
    """All of a sowing has gone to its last place before the first part is handed over."""
    days = [
        each.date
        for row in season.plan.orders
        for each in row.hand_over
        if each.sowing == sowing.sowing
    ]
    if not days:
        return
    for before, step in zip(sowing.steps, sowing.steps[1:], strict=False):
        if step.place != before.place:
            ledger.require(
                step.from_date < min(days), "in its last place before the first part goes",
                sowing.sowing, f"It is moved to {step.place} later.", f"before {min(days)}",
                step.from_date,
            )  # fmt: skip


def _midnight(fraction: float) -> float:
    """Return the first midnight at or after a fractional day."""
    return float(np.ceil(fraction - 1e-6)) if np.isfinite(fraction) else np.inf


def _check_spans(season: Season, ledger: Ledger, sowing: Sowing, line: Timeline) -> None:
    """Ten, fifty and ninety percent points of ready and overgrown."""
    ready, over = sowing.ready_date, sowing.overgrown_date
    for what, days, share, found in (
        ("ready p10", line.ready_day[0], 0.1, ready.p10),
        ("ready p50", line.ready_day[0], 0.5, ready.p50),
        ("ready p90", line.ready_day[0], 0.9, ready.p90),
        ("overgrown p10", line.overgrown_day[0], 0.1, over.p10),
        ("overgrown p50", line.overgrown_day[0], 0.5, over.p50),
    ):
        if found is None:
            ledger.require(False, what, sowing.sowing, "The plan leaves it out.")  # noqa: FBT003
            continue
        index = _midnight(quantile_day(days, season, share))
        end = season.index(season.until)
        if index >= end and season.index(found) >= end - CLOSE_D:
            ledger.require(True, what, sowing.sowing, "")  # noqa: FBT003
            continue
        _close(
            ledger, what, sowing.sowing, season.day(int(min(index, season.n_days))), found,
            Severity.DIFFERS,
        )  # fmt: skip


def hand_over_day(season: Season, line: Timeline, order_id: str) -> float:
    """Return the day number on which an order gets its plants; inf if it is no candidate."""
    order = season.orders[order_id]
    w, z = line.middle
    ready = _midnight(line.ready_day[0, w, z])
    early, late = season.index(order.earliest_date), season.index(order.latest_date)
    if ready > late:
        return ready if ready <= late + LATE_MOST_D else np.inf
    return float(max(min(max(season.index(order.wanted_date), early), late), ready))


def _check_hand_over(season: Season, ledger: Ledger, sowing: Sowing, line: Timeline) -> None:
    """Handed over on the day of the window nearest to the wanted one, ready and not overgrown."""
    w, z = line.middle
    over = line.overgrown_day[0, w, z]
    for row in season.plan.orders:
        order = season.orders.get(row.order)
        for each in row.hand_over:
            if each.sowing != sowing.sowing or order is None:
                continue
            subject = f"{row.order} from {sowing.sowing}"
            given = season.is_given(sowing)
            ledger.require(
                each.date >= order.earliest_date
                and (given or (each.date - order.latest_date).days <= LATE_MOST_D),
                "handed over in the window", subject, "It is outside, by more than 7 days late.",
                f"{order.earliest_date} to {order.latest_date}", each.date,
            )  # fmt: skip
            day = season.index(each.date)
            ledger.require(
                given or day < over + CLOSE_D, "not overgrown when handed over", subject,
                "It is past its window.",
                f"before {season.day(int(min(over, season.n_days)))}", each.date,
            )  # fmt: skip
            end = sowing.steps[-1].to_date if sowing.steps else season.inputs.from_date
            ledger.require(
                each.date <= end, "stands until it is handed over", subject,
                "Its last step ends before.", each.date, end,
            )  # fmt: skip
            wanted = hand_over_day(season, line, row.order)
            if given:
                if not np.isfinite(wanted):
                    wanted = min(_midnight(line.ready_day[0, w, z]), season.n_days)
                wanted = max(wanted, season.index(season.inputs.from_date))
            if not np.isfinite(wanted):
                ledger.require(
                    False,  # noqa: FBT003
                    "ready at most 7 days late", subject, "It is ready later.",
                    f"by {order.latest_date} and 7 days", each.date,
                )  # fmt: skip
                continue
            _close(ledger, "day of handing over", subject, season.day(int(wanted)), each.date)


def _close(
    ledger: Ledger,
    rule: str,
    subject: str,
    expected: date,
    found: date,
    severity: Severity = Severity.FAILS,
) -> None:
    """Compare dates within a day."""
    ledger.require(
        abs((found - expected).days) <= CLOSE_D, rule, subject, "The day is another.",
        expected, found, severity,
    )  # fmt: skip
