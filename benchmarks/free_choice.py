"""What a season takes of the house when every order may have what is cheapest for it alone.

This is the yardstick for how crowded a season is, and the way the frozen instances were sized.
"""

from __future__ import annotations

import argparse
import shutil
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from benchmarks.seasons import FROM_DATE, INSTANCES, Sizes, make_season
from sowbench.demo import WEATHER_NAME, weather_file
from sowbench.planning.candidates import build_candidates
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.season import make_season as lay_out
from sowbench.services.inputs import InputFiles, load_inputs

PLENTY = 10_000


@dataclass(frozen=True, slots=True)
class FreeUse:
    """Daily use of one resource under free choice.

    Attributes
    ----------
    name, kind : str
        What is used; kind is place, crew, container, machine or lot.
    use, capacity : ndarray, shape (n_days,)
        In lifted units, m2, minutes or trays, as the resource counts.
    """

    name: str
    kind: str
    use: NDArray[np.float64]
    capacity: NDArray[np.float64]

    @property
    def peak(self) -> float:
        """Largest use of a day."""
        return float(self.use.max())


def free_choice(inputs: PlanInputs) -> list[FreeUse]:
    """Let every order have the candidate that is cheapest for it alone.

    Parameters
    ----------
    inputs : PlanInputs
        The season.

    Returns
    -------
    uses : list of FreeUse
        One for each resource; orders without any candidate use nothing.
    """
    season = lay_out(
        inputs.house,
        inputs.catalog,
        inputs.orders,
        inputs.lots or (),
        inputs.weather,
        inputs.from_date,
    )
    program = build_candidates(season, inputs.pins).program
    members = program.members[program.group]
    alone = np.flatnonzero(members[:, 1] < 0)
    cost = (program.cost_variable + program.cost_fixed)[alone]
    # Sorted by order, then by cost: the first of each order is its cheapest.
    rank = np.lexsort((cost, members[alone, 0]))
    _, first = np.unique(members[alone[rank], 0], return_index=True)
    chosen = alone[rank][first].astype(np.int64)
    use = program.use(chosen, np.ones(len(chosen)))
    resources = program.resources
    return [
        FreeUse(name, kind.value, use[k], resources.capacity[k])
        for k, (kind, name) in enumerate(zip(resources.kinds, resources.names, strict=True))
    ]


def free_sizes(folder: Path, room_scale: float) -> Sizes:
    """Size a house so that each place has a share of the peak of free choice.

    Parameters
    ----------
    folder : Path
        Season with its weather, in a house without narrow places.
    room_scale : float
        Room over peak; trays and hands are at least nine tenths of theirs.

    Returns
    -------
    sizes : Sizes
        What the house holds.
    """
    files = InputFiles(folder / "orders.csv", folder / "house.toml", folder / "seed.csv")
    uses = {each.name: each for each in free_choice(load_inputs(files, FROM_DATE).inputs)}
    chambers = max(uses["warm chamber"].peak, uses["lit chamber"].peak)
    return Sizes(
        positions=max(8, round(room_scale * chambers)),
        warm_m2=round(max(1.0, room_scale * uses["warm bench"].peak), 1),
        cool_m2=round(max(1.0, room_scale * uses["cool bench"].peak), 1),
        yard_m2=round(max(1.0, room_scale * uses["yard"].peak), 1),
        minutes_per_day=float(max(120, round(0.9 * uses["crew"].peak))),
        trays={
            each.name: max(10, int(np.ceil(0.9 * each.peak)))
            for each in uses.values()
            if each.kind == "container"
        },
    )


def freeze(name: str, n_orders: int, seed: int, room_scale: float, work: Path) -> Path:
    """Make a season, size its house by free choice, and write it among the instances.

    Parameters
    ----------
    name : str
        Folder of the instance.
    n_orders, seed : int
        See `benchmarks.seasons.make_season`.
    room_scale : float
        Room over the peak of free choice.
    work : Path
        Folder for the season in a wide house.

    Returns
    -------
    folder : Path
        The instance.
    """
    wide = Sizes(PLENTY, PLENTY, PLENTY, PLENTY, PLENTY, dict.fromkeys(_RETURNING, PLENTY))
    make_season(work, n_orders, seed, sizes=wide)
    shutil.copyfile(weather_file(), work / WEATHER_NAME)
    sizes = free_sizes(work, room_scale)
    folder = make_season(INSTANCES / name, n_orders, seed, sizes=sizes)
    (folder / "README.md").write_text(
        f"""# {name}

An invented season of {n_orders} orders, drops of standing orders counted, made by
`python -m benchmarks.free_choice {name} {n_orders} --seed {seed} --room-scale {room_scale:g}`
and kept as files, so that plans of different versions can be compared. Customers, varieties, lots
and prices are invented. The weather that `house.toml` names is real: a typical year of station
723170; `benchmarks.seasons.open_instance` puts it beside the other files.

Each place holds {room_scale:.0%} of what it would hold on its fullest day if every order had what
is cheapest for it alone; hands and trays that come back are at 90% of theirs.

Plan from {FROM_DATE.isoformat()}.
""",
        encoding="utf-8",
    )
    return folder


_RETURNING = ("plug-50", "plug-72", "plug-128", "plug-200", "plug-288")


def main(arguments: Sequence[str] | None = None) -> None:
    """Freeze an instance.

    Parameters
    ----------
    arguments : sequence of str or None, default None
        Command line; None takes that of the program.
    """
    parser = argparse.ArgumentParser(description="Freeze an invented season.")
    parser.add_argument("name")
    parser.add_argument("n_orders", type=int)
    parser.add_argument("--seed", type=int, required=True)
    parser.add_argument("--room-scale", type=float, default=0.75)
    parser.add_argument("--work", type=Path, default=Path("season-wide"))
    given = parser.parse_args(arguments)
    freeze(given.name, given.n_orders, given.seed, given.room_scale, given.work)


if __name__ == "__main__":
    main()
