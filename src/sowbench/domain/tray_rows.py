"""Rows of a tray that several sowings share, and what each of them is charged of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from sowbench.domain.plan import Sowing, Step
from sowbench.domain.records import Container


@dataclass(frozen=True, slots=True)
class TrayRows:
    """Which rows of its last tray a sowing takes, and who has the others.

    Attributes
    ----------
    mates : tuple of str
        The other sowings in the tray.
    first_row, last_row : int
        Rows of this one, counted from 1.
    n_rows : int
        Rows of the tray.
    """

    mates: tuple[str, ...]
    first_row: int
    last_row: int
    n_rows: int

    @property
    def words(self) -> str:
        """Say it as the crew needs it."""
        rows = f"row {self.first_row}"
        if self.last_row > self.first_row:
            rows = f"rows {self.first_row} to {self.last_row}"
        return f"shares its last tray with {', '.join(self.mates)}: {rows} of {self.n_rows}"


def own_units(step: Step) -> float:
    """Lifted units of a step that count as the sowing's own: of a shared one an even part.

    Parameters
    ----------
    step : Step
        A step of a sowing.

    Returns
    -------
    n_units : float
        Units by which room, containers and work are counted.
    """
    return step.n_containers - 1 + 1 / (len(step.from_sowings) + 1)


def tray_rows(
    sowings: Iterable[Sowing], containers: Mapping[str, Container]
) -> dict[str, TrayRows]:
    """Give out the rows of shared trays in the order of the sowings, the first from row 1.

    Parameters
    ----------
    sowings : iterable of Sowing
        Sowings of a plan.
    containers : mapping of str to Container
        Containers by id.

    Returns
    -------
    rows : dict of str to TrayRows
        By sowing; those that share no tray are left out.
    """
    used: dict[frozenset[str], int] = {}
    found = {}
    for sowing in sowings:
        step = sowing.steps[0] if sowing.steps else None
        container = None if step is None else containers.get(step.container)
        if step is None or container is None or not step.from_sowings:
            continue
        together = frozenset((sowing.sowing, *step.from_sowings))
        last = sowing.n_cells - (step.n_containers - 1) * container.cells
        first = used.get(together, 0) + 1
        used[together] = first - 1 + -(-last // (container.cols or container.cells))
        found[sowing.sowing] = TrayRows(
            step.from_sowings, first, used[together], container.rows or 1
        )
    return found
