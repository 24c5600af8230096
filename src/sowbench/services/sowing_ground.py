"""What the forms of a sowing take their defaults from: its plan, its journal, its open jobs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Final

from sowbench.services import wording
from sowbench.services.learned_worked import MINUTES_WORKED
from sowbench.services.sowing_fields import TRAYS_HELP, Action, Field

if TYPE_CHECKING:
    from sowbench.domain.journal import EntryKind
    from sowbench.domain.plan import Sowing, Step
    from sowbench.domain.ports.sowings_page import Life, PlannedJob, TrayState
    from sowbench.domain.records import House, Order, StepKind
    from sowbench.reference.catalog import Catalog

# A planned job is offered to be ticked off from so long before its day.
_AHEAD_D: Final = 7


@dataclass(frozen=True, slots=True)
class Ground:
    """What is known of a sowing when something is to be written down.

    Attributes
    ----------
    today : date
        The day in the house.
    life : Life or None
        What the journal says.
    planned : Sowing or None
        What the plan says.
    trays : sequence of TrayState
        Its trays, those that are gone too.
    jobs : sequence of PlannedJob
        Jobs around it by the plan, done ones too.
    orders : sequence of Order
        Orders that it fills.
    house : House
        The house.
    catalog : Catalog
        The reference.
    """

    today: date
    life: Life | None
    planned: Sowing | None
    trays: Sequence[TrayState]
    jobs: Sequence[PlannedJob]
    orders: Sequence[Order]
    house: House
    catalog: Catalog

    def tray_fields(self) -> tuple[Field, ...]:
        """Ask which trays, where there are several.

        Returns
        -------
        fields : tuple of Field
            None where there is only one.
        """
        if sum(each.gone_date is None for each in self.trays) < 2:
            return ()
        return (Field("trays", "trays", help=TRAYS_HELP),)

    def due(self, *tasks: str) -> PlannedJob | None:
        """Return the first job of some tasks that is not ticked off and is due about now.

        Parameters
        ----------
        *tasks : str
            Words of the tasks.

        Returns
        -------
        job : PlannedJob or None
            None if there is none within a week.
        """
        until = self.today + timedelta(days=_AHEAD_D)
        open_jobs = [
            each
            for each in self.jobs
            if each.task in tasks and each.done_date is None and each.day <= until
        ]
        return min(open_jobs, key=lambda each: each.day, default=None)

    def step(self, *kinds: StepKind) -> Step | None:
        """Return the first planned step of some kinds.

        Parameters
        ----------
        *kinds : StepKind
            Kinds of step.

        Returns
        -------
        step : Step or None
            None if the plan has none.
        """
        if self.planned is None:
            return None
        return next((each for each in self.planned.steps if each.kind in kinds), None)

    def next_place(self) -> str:
        """Return the place where the plan has the sowing next.

        Returns
        -------
        place : str
            Blank if it stays where it is.
        """
        here = self.life.place if self.life is not None else ""
        if self.planned is None:
            return ""
        for each in self.planned.steps:
            if each.to_date > self.today and each.place != here:
                return each.place
        return ""

    def action(
        self,
        key: str,
        kind: EntryKind,
        label: str,
        glyph: str,
        group: str,
        fields: tuple[Field, ...],
        job: PlannedJob | None = None,
    ) -> Action:
        """Make an action that may tick off a job.

        Parameters
        ----------
        key : str
            Short name of its form.
        kind : EntryKind
            Kind of entry.
        label : str
            What the button says.
        glyph : str
            Its drawing.
        group : str
            Heading under which it stands.
        fields : tuple of Field
            What is asked.
        job : PlannedJob or None, default None
            The job that it ticks off.

        Returns
        -------
        action : Action
            Due if its job is of today or before.
        """
        if job is not None:
            took = f"values.{MINUTES_WORKED}"
            said = "Blank: not timed. The house learns from it."
            fields = (*fields, Field(took, "minutes it took", "number", step="any", help=said))
        return Action(
            key,
            kind.value,
            label,
            glyph,
            group,
            fields,
            "" if job is None else job.key,
            self._planned_words(job),
            is_due=job is not None and job.day <= self.today,
        )

    def _planned_words(self, job: PlannedJob | None) -> str:
        """Say for when the plan has a job."""
        if job is None:
            return ""
        late = (self.today - job.day).days
        since = f", {wording.count(late, 'day')} ago" if late > 0 else ""
        return f"Ticks off what is planned for {wording.day(job.day)}{since}."
