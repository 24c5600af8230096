"""The figures of the measures as tables in words, at most 100 columns wide."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from datetime import date
from typing import Any

METHODS = ("planner", "first come", "hand rule")
WIDTH = 100
ALLOWED_GAP = {30.0: 0.02, 120.0: 0.01}
"""Gaps wanted of 500 orders after so many seconds on two cores."""
ALLOWED_MIB = 512.0

Result = dict[str, Any]

PLANNER_WORDS = """x first: its time over that of first come, first served with its candidates;
x loop: over a bare loop of five million additions, in the same process. Memory: peak above the
interpreter with its libraries, over if above 512 MiB. The limit is that of the search; took is
from inputs read to plan handed out. Run with --clock cpu, seconds are those of the processor."""
STAGE_WORDS = """lay out: season and candidates until the first bound; bound: linear program; start:
until the first round of search; after: settling, writing and offers; choices: candidates."""
COST_WORDS = """gap: to the same proven bound; plants: share planned for; filled: mean chance of an
order to be filled, by the model. The hand rule minds neither hands nor trays nor chances, so that
its cost is that of a plan which could not be kept."""
PLAYED_WORDS = """orders: share filled in time and in full; plants: share of plants in time; ratio:
money against the planner's; money: what was spent and what shortage, lateness and overgrown plants
cost, and trays bought because there were none; lifted: sowings lifted out of the chamber in
time."""
ROOM_WORDS = """Above the room and trays there are, in a mean year: area times days, positions times
days, days with a tray short, trays short on the worst day; hours planned beyond the hands there
are."""
CREW_WORDS = """Share of sowings whose chamber exit, every watering and every handing over falls on
a day someone is there, and for which all three do; different lots and sowings on a sowing day. In a
season of +weekdays nobody comes on other days, so that no plan can water."""


def table(head: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    """Lay out rows under a head; the first two columns to the left, numbers to the right.

    Parameters
    ----------
    head : sequence of str
        Names of the columns.
    rows : sequence of sequence of str
        Cells.

    Returns
    -------
    text : str
        A Markdown table.

    Raises
    ------
    ValueError
        If a line is wider than 100 columns.
    """
    widths = [max(len(row[k]) for row in (head, *rows)) for k in range(len(head))]

    def line(cells: Sequence[str]) -> str:
        laid = [
            cell.ljust(w) if k < 2 else cell.rjust(w)
            for k, (cell, w) in enumerate(zip(cells, widths, strict=True))
        ]
        return "| " + " | ".join(laid) + " |"

    rule = "|" + "|".join(
        "-" * (w + 2) if k < 2 else "-" * (w + 1) + ":" for k, w in enumerate(widths)
    )
    lines = [line(head), rule + "|", *(line(row) for row in rows)]
    if len(lines[0]) > WIDTH:
        message = f"a line must be at most {WIDTH} columns; got {len(lines[0])}: {lines[0]}"
        raise ValueError(message)
    return "\n".join(lines)


def section(title: str, words: str) -> str:
    """Write a heading with what to know about the table under it."""
    return f"\n## {title}\n\n" + textwrap.fill(words, WIDTH - 1) + "\n"


def percent(frac: float, digits: int = 1) -> str:
    """Write a share as a percentage."""
    return f"{100 * frac:.{digits}f} %"


def planner_table(results: Sequence[Result]) -> str:
    """Gap, time and memory of the planner by size and limit."""
    rows = []
    for r in results:
        took = r["seconds"]
        planner, limit = r["methods"]["planner"], float(r["seconds_limit"])
        wanted = ALLOWED_GAP.get(limit)
        verdict = "-"
        if wanted is not None:
            gap_ok = planner["gap_frac"] <= wanted
            verdict = f"{percent(wanted, 0)} {'met' if gap_ok else 'missed'}"
        rows.append(
            (
                r["name"],
                f"{limit:g} s",
                percent(planner["gap_frac"], 2),
                verdict,
                f"{took['planner']:.0f} s",
                f"{took['planner_cpu']:.0f} s",
                f"{took['planner'] / (took['candidates'] + took['first_come']):.1f}",
                f"{took['planner'] / took['loop']:.0f}",
                f"{r['memory_mib']:.0f}" + (" over" if r["memory_mib"] > ALLOWED_MIB else ""),
            )
        )
    head = ("season", "limit", "gap", "wanted", "took", "CPU", "x first", "x loop", "MiB")
    return table(head, rows)


def cost_table(results: Sequence[Result]) -> str:
    """Cost and gap of the three methods, as the planner's model reckons money."""
    rows = []
    for r in results:
        base = r["methods"]["planner"]["cost"]
        for method in METHODS:
            m = r["methods"][method]
            rows.append(
                (
                    r["name"],
                    f"{method}, {r['seconds_limit']:g} s" if method == "planner" else method,
                    f"{m['cost']:.0f}",
                    f"{m['cost'] / base:.3f}",
                    percent(m["gap_frac"], 2),
                    str(m["n_unmet"]),
                    percent(m["planned_plants_frac"]),
                    percent(m["expected_filled_frac"]),
                )
            )
    head = ("season", "method", "cost", "ratio", "gap", "unmet", "plants", "filled")
    return table(head, rows)


def played_table(results: Sequence[Result]) -> str:
    """What became of the plans in the other world."""
    rows = []
    for r in results:
        if "played" not in r["methods"]["planner"]:
            continue
        base = r["methods"]["planner"]["played"]["money"]
        for method in METHODS:
            p = r["methods"][method]["played"]
            rows.append(
                (
                    r["name"],
                    method,
                    percent(p["filled_frac"]),
                    percent(p["plants_in_time_frac"]),
                    f"{p['money'] / base:.3f}",
                    f"{p['money']:.0f}",
                    f"{p['money_p05']:.0f}-{p['money_p95']:.0f}",
                    percent(p["lifted_in_time_frac"]),
                )
            )
    head = ("season", "method", "orders", "plants", "ratio", "money", "90 % of years", "lifted")
    return table(head, rows)


def room_table(results: Sequence[Result]) -> str:
    """Room and trays that were missing in the other world."""
    rows = []
    for r in results:
        for method in METHODS:
            p = r["methods"][method].get("played")
            if p is None:
                continue
            crew = r["methods"][method]["crew"]
            rows.append(
                (
                    r["name"],
                    method,
                    f"{p['over_m2_d']:.0f}",
                    f"{p['over_positions_d']:.0f}",
                    f"{p['trays_short_days']:.0f}",
                    f"{p['trays_short_worst']:.0f}",
                    f"{crew['over_minutes'] / 60:.0f}",
                )
            )
    head = ("season", "method", "m2 d", "positions d", "tray days", "trays worst", "hours over")
    return table(head, rows)


def months_table(results: Sequence[Result]) -> str:
    """Trays short on an average day, by month."""
    rows: list[tuple[str, ...]] = []
    months: list[str] = []
    for r in results:
        for method in METHODS:
            p = r["methods"][method].get("played")
            if p is None:
                continue
            months = months or list(p["trays_short_by_month"])
            by = p["trays_short_by_month"]
            rows.append((r["name"], method, *(f"{by.get(m, 0.0):.1f}" for m in months[:9])))
    return table(("season", "method", *(m[5:] for m in months[:9])), rows)


def crew_table(results: Sequence[Result]) -> str:
    """Days on which someone must be there, and lots on a sowing day, as planned."""
    rows = []
    for r in results:
        for method in METHODS:
            c = r["methods"][method]["crew"]
            rows.append(
                (
                    r["name"],
                    f"{method}, {r['seconds_limit']:g} s" if method == "planner" else method,
                    percent(c["lift_frac"], 0),
                    percent(c["water_frac"], 0),
                    percent(c["deliver_frac"], 0),
                    percent(c["all_frac"], 0),
                    f"{c['lots_per_sowing_day']:.2f}",
                    f"{c['sowings_per_sowing_day']:.2f}",
                    str(c["n_sowing_days"]),
                )
            )
    head = ("season", "method", "exit", "water", "go", "all", "lots", "sowings", "days")
    return table(head, rows)


def stage_table(results: Sequence[Result]) -> str:
    """Where the planner's time goes."""
    rows = []
    for r in results:
        seen, took = r["stages"], r["seconds"]["planner"]
        bound, search = seen.get("bound", {}), seen.get("search", {})
        rows.append(
            (
                r["name"],
                f"{r['seconds_limit']:g} s",
                f"{bound.get('first_s', 0.0):.1f}",
                f"{bound.get('last_s', 0.0) - bound.get('first_s', 0.0):.1f}",
                f"{search.get('first_s', 0.0) - bound.get('last_s', 0.0):.1f}",
                f"{search.get('last_s', 0.0) - search.get('first_s', 0.0):.1f}",
                f"{took - search.get('last_s', bound.get('last_s', took)):.1f}",
                str(r["rounds"]),
                f"{r['seconds']['n_candidates']:.0f}",
            )
        )
    head = ("season", "limit", "lay out", "bound", "start", "search", "after", "rounds",
            "choices")  # fmt: skip
    return table(head, rows)


def report(results: Sequence[Result], command: str, machine: str, today: date) -> str:
    """Write everything down.

    Parameters
    ----------
    results : sequence of dict
        From `benchmarks.measure`; those with an `error` are named and left out of the tables.
    command, machine : str
        What was run, and on what.
    today : date
        When.

    Returns
    -------
    text : str
        Markdown, at most 100 columns wide.
    """
    good = [r for r in results if "error" not in r]
    bad = [r for r in results if "error" in r]
    loads = [load for r in good for load in (r["load_before"], r["load_after"])]
    longest: dict[str, Result] = {}
    for r in good:
        if r["seconds_limit"] >= longest.get(r["name"], r)["seconds_limit"]:
            longest[r["name"]] = r
    every = list(longest.values())
    text = [f"# Measures of {today.isoformat()}\n\n`{command}`\n\n{machine}."]
    if loads:
        words = (
            f"Load of the machine before and after each season: {min(loads):.1f} to"
            f" {max(loads):.1f}; above its cores others were at work, and the planner had less of"
            " each second than on a machine of its own: see CPU."
        )
        text.append(textwrap.fill(words, WIDTH - 1))
    text += [f"\n{r['name']}, {r['seconds_limit']:g} s: not measured, {r['error']}." for r in bad]
    if not good:
        return "\n".join(text) + "\n"
    text += [
        section("The planner: gap to its proven bound, time and memory", PLANNER_WORDS),
        planner_table(good),
        section("Where its time goes [s]", STAGE_WORDS),
        stage_table(good),
        section("Cost as the planner's model reckons it", COST_WORDS),
        cost_table(good),
    ]
    played = [r["methods"]["planner"].get("played") for r in good]
    years = max((p["n_years"] for p in played if p is not None), default=0)
    if years:
        text += [
            section(f"Played through {years} years of another world", PLAYED_WORDS),
            played_table(good),
            "\n" + textwrap.fill(ROOM_WORDS, WIDTH - 1) + "\n",
            room_table(good),
            "\nTrays short on an average day, by month of the year:\n",
            months_table(good),
        ]
    text += [section("The crew's days, as planned", CREW_WORDS), crew_table(every)]
    return "\n".join(text) + "\n"
