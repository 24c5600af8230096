"""Plan a season: read the files, plan, write the folder, say in short what came out."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from sowbench.domain.plan import Plan
from sowbench.exchange.plan_tables import write_plan_folder
from sowbench.exchange.season_use import DailyUse
from sowbench.science.errors import InputFileError, Problem
from sowbench.services import made_from
from sowbench.services.cards import Card, cards_document, sowing_cards
from sowbench.services.inputs import InputFiles, Loaded, load_inputs
from sowbench.services.summary import Summary, summarize

if TYPE_CHECKING:
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.parts import Parts, Progress

CARDS_FILE = "cards.md"


@dataclass(frozen=True, slots=True)
class PlanOutcome:
    """A plan with what it was made from and where it was written."""

    plan: Plan
    loaded: Loaded
    uses: tuple[DailyUse, ...]
    summary: Summary
    cards: tuple[Card, ...]
    paths: tuple[Path, ...] = ()


def plan_season(
    files: InputFiles,
    from_date: date,
    parameters: SolveParameters,
    seed: int,
    out: str | Path | None,
    parts: Parts,
    progress: Progress | None = None,
) -> PlanOutcome:
    """Plan a season and write it to a folder.

    Parameters
    ----------
    files : InputFiles
        The files.
    from_date : date
        First day on which anything can be done.
    parameters : SolveParameters
        How to search.
    seed : int
        Seed of the search.
    out : str, Path or None
        Folder to write to; None writes nothing.
    parts : Parts
        Planner and picture.
    progress : callable or None, default None
        Told how far the search is; ends it by returning true.

    Returns
    -------
    outcome : PlanOutcome
        The plan, its summary and the files written.

    Raises
    ------
    InputFileError
        If a file is not right, or the folder cannot be one; nothing is written then.
    """
    check_folder(out)
    return plan_loaded(load_inputs(files, from_date), parameters, seed, out, parts, progress)


def plan_loaded(
    loaded: Loaded,
    parameters: SolveParameters,
    seed: int,
    out: str | Path | None,
    parts: Parts,
    progress: Progress | None = None,
) -> PlanOutcome:
    """Plan from inputs already read; see `plan_season`.

    Parameters
    ----------
    loaded : Loaded
        The inputs.
    parameters : SolveParameters
        How to search.
    seed : int
        Seed of the search.
    out : str, Path or None
        Folder to write to; None writes nothing.
    parts : Parts
        Planner and picture.
    progress : callable or None, default None
        Told how far the search is; ends it by returning true.

    Returns
    -------
    outcome : PlanOutcome
        The plan, its summary and the files written.
    """
    inputs = loaded.inputs
    planned = parts.make_plan(inputs, parameters, seed, progress)
    uses = planned.uses
    summary = summarize(planned.plan, inputs, uses, loaded.notes)
    cards = sowing_cards(planned.plan, inputs)
    paths: tuple[Path, ...] = ()
    if out is not None:
        extra = {
            CARDS_FILE: cards_document(cards, inputs.catalog.sources).encode("utf-8"),
            made_from.FILE_NAME: made_from.record_of(loaded.files, inputs.from_date, out),
        }
        if parts.draw is not None and any(any(each.use) for each in uses):
            title = f"{summary.n_sowings} sowings for {summary.n_orders} orders"
            extra |= parts.draw(uses, title)
        every_order = (*inputs.orders, *loaded.cancelled)
        paths = write_plan_folder(planned.plan, out, every_order, extra)
    return PlanOutcome(planned.plan, loaded, uses, summary, cards, paths)


def check_folder(out: str | Path | None) -> None:
    """Refuse a folder that cannot be one, before any work is done.

    Parameters
    ----------
    out : str, Path or None
        Folder to write to; None is none.

    Raises
    ------
    InputFileError
        If there is a file of that name.
    """
    if out is None:
        return
    for each in (Path(out), *Path(out).absolute().parents):
        if each.exists() and not each.is_dir():
            message = "The plan goes to a folder, and this is a file; name another with --out."
            raise InputFileError([Problem(str(each), None, None, None, message)])


def written_files(paths: Iterable[Path]) -> Mapping[str, str]:
    """Say what each file of the folder holds.

    Parameters
    ----------
    paths : iterable of Path
        Files written.

    Returns
    -------
    contents : mapping of str to str
        What is in it, by file name.
    """
    said = {
        "plan.json": "the whole plan; for programs, and to keep to in the next plan",
        "orders.csv": "the orders with what each gets and how sure it is",
        "sowings.csv": "the sowings, each with its way through the house",
        "tasks.csv": "what the crew does, day by day",
        "supplies.csv": "what is needed, what is there, what to buy and by when",
        CARDS_FILE: "how to sow, one card a sowing",
        "season.svg": "how full places and hands are",
        "season.png": "the same as a picture for any program",
        made_from.FILE_NAME: "which files the plan was made from",
    }
    return {each.name: said.get(each.name, "") for each in paths}
