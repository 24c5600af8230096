"""Who sees failing sowings coming in time to resow: by forecast, by a look on day 10, not at all.

    python -m benchmarks.failures.run [--seasons 20] [--processes 1] [--tuning] [--out FILE]

Every rule plays the same seasons with the same room and hands. docs/benchmarks.md says what the
figures mean.
"""

from __future__ import annotations

import argparse
import multiprocessing
import sys
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np

from benchmarks.failures.clocks import planned_days
from benchmarks.failures.generator import N_DAYS, Season, made_season
from benchmarks.failures.memory import last_year
from benchmarks.failures.parameters import CROPS
from benchmarks.failures.play import ByForecast, Game, Played, filled, look_once
from benchmarks.failures.world import World, start_of

TUNING_SEEDS = range(101, 111)
REPORT_SEEDS = range(501, 521)
SHORT_CROP_D = 21
RULES = (
    "without forecasts",
    "look on day 10",
    "look on day 10, or when up",
    "forecast, first season",
    "forecast, second season",
)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of one sowing under one rule.

    Attributes
    ----------
    length_d : float
        Days from sowing to ready, as planned.
    short, failing, exists : bool
        Whether it is short if nobody resows, for a planted failure, and whether there is a last
        useful resowing day by which it fails already.
    cause : str
        What was planted; "" for what is short by chance, or not at all.
    flagged : bool
        Whether it was called short.
    lead_d : float
        Days from the flag to the last useful resowing day; nan without either.
    resown, filled : bool
        Whether it was resown, and whether its order was filled in time and in full.
    """

    length_d: float
    short: bool
    failing: bool
    exists: bool
    cause: str
    flagged: bool
    lead_d: float
    resown: bool
    filled: bool


@dataclass(frozen=True, slots=True)
class SeasonOutcome:
    """What came of a season under one rule.

    Attributes
    ----------
    sowings : tuple of Outcome
        Of every sowing.
    minutes : float
        Minutes of looking that the rule asked for [min].
    cpu_s : float
        Processor time of playing it [s].
    """

    sowings: tuple[Outcome, ...]
    minutes: float
    cpu_s: float


def play_season(rule: str, seed: int, n_sowings: int | None = None) -> SeasonOutcome:
    """Play one season by one rule.

    Parameters
    ----------
    rule : str
        One of `RULES`.
    seed : int
        Seed of the season.
    n_sowings : int or None, default None
        Sowings; as many as are frozen by default.

    Returns
    -------
    outcome : SeasonOutcome
        What came of it.
    """
    season = made_season(seed) if n_sowings is None else made_season(seed, n_sowings)
    begin = time.process_time()
    before = last_year(season) if rule == RULES[4] else ()
    game = Game(season, before)
    if rule == RULES[0]:
        played = game.play(look_once(None))
    elif rule == RULES[1]:
        played = game.play(look_once(10))
    elif rule == RULES[2]:
        played = game.play(look_once(10, wait_for_emergence=True))
    else:
        played = game.play(ByForecast(), learns=True)
    spent = time.process_time() - begin
    calm = World(season, planted=False)
    found = tuple(_outcome(game, calm, played, index) for index in game.all)
    return SeasonOutcome(found, played.minutes, spent)


def _outcome(game: Game, calm: World, played: Played, index: int) -> Outcome:
    """Judge one sowing."""
    season = game.season
    sowing = season.sowings[index]
    _, ready = planned_days(CROPS[sowing.crop], season.believed_c, sowing.sow_day)
    alone = filled(season, index, [game.grown[index]])
    without = not alone and filled(season, index, [calm.grown(start_of(season, index))])
    last = game.house.last_day(index).day
    exists = False
    if without and last is not None and last > sowing.sow_day:
        until = World(season, until_day=last)
        exists = not filled(season, index, [until.grown(start_of(season, index))])
    starts = [game.grown[index]]
    if index in played.resown:
        starts.append(game.world.grown(played.resown[index]))
    flagged = played.flagged_day.get(index)
    lead = np.nan if flagged is None or last is None else float(last - flagged)
    return Outcome(
        ready - sowing.sow_day, not alone, without, exists,
        _cause(season, index) if without else "", flagged is not None, lead,
        index in played.resown, filled(season, index, starts),
    )  # fmt: skip


def _cause(season: Season, index: int) -> str:
    """Name the planted failure that would do by itself, the lot first."""
    sowing = season.sowings[index]
    if season.lots[sowing.lot].bad_share < 1.0:
        return "bad lot"
    kinds = {
        each.kind
        for each in season.events
        if each.first_day + each.n_days > sowing.sow_day
        and each.first_day < min(sowing.latest_day, N_DAYS)
        and each.place in {-1, CROPS[sowing.crop].place}
    }
    return " and ".join(sorted(kinds))


def table(by_rule: dict[str, Sequence[SeasonOutcome]]) -> str:
    """Write the figures as tables.

    Parameters
    ----------
    by_rule : dict of str to sequence of SeasonOutcome
        By rule, in the same order of seasons.

    Returns
    -------
    text : str
        Markdown.
    """
    lines = [("| rule | filled in time and in full | points above | flagged in time |"
             " false alarms | resown | minutes a season |"),
             "|---|---|---|---|---|---|---|"]  # fmt: skip
    base = np.array([_share_filled(each) for each in next(iter(by_rule.values()))])
    for rule, seasons in by_rule.items():
        every = [each for season in seasons for each in season.sowings]
        own = np.array([_share_filled(each) for each in seasons])
        above = 100.0 * (own - base)
        error = above.std(ddof=1) / np.sqrt(above.size) if above.size > 1 else np.nan
        lines.append(
            f"| {rule} | {100 * own.mean():.1f} % | {above.mean():+.1f} ± {error:.1f} |"
            f" {_in_time(every)} | {_false(every)} | {sum(each.resown for each in every)} |"
            f" {np.mean([each.minutes for each in seasons]):.0f} |"
        )
    every = [each for season in next(iter(by_rule.values())) for each in season.sowings]
    lines += [
        "",
        (
            f"{len(every)} sowings in {len(base)} seasons; without resowing"
            f" {sum(each.short for each in every)} are short,"
            f" {sum(each.failing for each in every)} of them failing,"
            f" {sum(each.exists for each in every)} with a last useful resowing day."
            " ± is the standard error over seasons."
        ),
        "",
    ]
    for rule, seasons in by_rule.items():
        every = [each for season in seasons for each in season.sowings]
        lines += [f"### {rule}", "", *_by_length(every), "", *_by_cause(every), ""]
    return "\n".join(lines)


def _share_filled(season: SeasonOutcome) -> float:
    """Share of orders filled in time and in full."""
    return float(np.mean([each.filled for each in season.sowings]))


def _in_time(some: Sequence[Outcome]) -> str:
    """Failing sowings flagged by the last useful resowing day."""
    asked = [each for each in some if each.exists]
    hit = sum(each.flagged and each.lead_d >= 0.0 for each in asked)
    return f"{hit} of {len(asked)}, {100 * hit / max(len(asked), 1):.0f} %"


def _false(some: Sequence[Outcome]) -> str:
    """Flags on sowings that are not short."""
    n = sum(each.flagged and not each.short for each in some)
    return f"{n}, {20 * n / max(len(some), 1):.2f} in 20"


def _by_length(every: Sequence[Outcome]) -> list[str]:
    """Lead time and the rest by length of the crop."""
    lines = [
        "| crop | sowings | filled | flagged in time | lead: 10, 50, 90 % [d] | false alarms |",
        "|---|---|---|---|---|---|",
    ]
    for name, some in (
        (f"under {SHORT_CROP_D} days", [x for x in every if x.length_d < SHORT_CROP_D]),
        ("21 to 45 days", [x for x in every if SHORT_CROP_D <= x.length_d < 45]),
        ("45 days and more", [x for x in every if x.length_d >= 45]),
    ):
        lead = [x.lead_d for x in some if x.exists and x.flagged and x.lead_d >= 0.0]
        told = "none"
        if lead:
            told = ", ".join(f"{each:.0f}" for each in np.quantile(lead, (0.1, 0.5, 0.9)))
        filled_frac = np.mean([x.filled for x in some]) if some else np.nan
        lines.append(
            f"| {name} | {len(some)} | {100 * filled_frac:.1f} % | {_in_time(some)} | {told} |"
            f" {_false(some)} |"
        )
    return lines


def _by_cause(every: Sequence[Outcome]) -> list[str]:
    """Flags by what was planted."""
    lines = ["| short because of | sowings | flagged in time | flagged | filled after all |",
             "|---|---|---|---|---|"]  # fmt: skip
    names = sorted({each.cause for each in every if each.failing})
    groups = [(name, [x for x in every if x.failing and x.cause == name]) for name in names]
    groups.append(("chance", [x for x in every if x.short and not x.failing]))
    for name, some in groups:
        lines.append(
            f"| {name} | {len(some)} | {_in_time(some)} | {sum(x.flagged for x in some)} |"
            f" {sum(x.filled for x in some)} |"
        )
    return lines


def main() -> None:
    """Play, print, and write the result file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seasons", type=int, default=len(REPORT_SEEDS))
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--tuning", action="store_true", help="the seasons that rules are tuned on")
    parser.add_argument("--rules", type=int, nargs="*", default=list(range(len(RULES))))
    parser.add_argument("--out", type=Path)
    asked = parser.parse_args()
    seeds = list(TUNING_SEEDS if asked.tuning else REPORT_SEEDS)[: asked.seasons]
    by_rule: dict[str, Sequence[SeasonOutcome]] = {}
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(asked.processes, mp_context=context) as pool:
        for rule in (RULES[each] for each in asked.rules):
            by_rule[rule] = list(pool.map(partial(play_season, rule), seeds))
            cpu = sum(each.cpu_s for each in by_rule[rule])
            sys.stderr.write(f"{rule}: {cpu:.0f} s of the processor\n")
    text = table(by_rule)
    sys.stdout.write(text)
    if asked.out is not None:
        head = f"# Failures planted, seasons {seeds[0]} to {seeds[-1]}\n\n"
        asked.out.write_text(head + text.rstrip() + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
