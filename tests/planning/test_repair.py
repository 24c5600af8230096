"""What is dropped to make a plan fit is chosen by what each part uses where a limit is broken."""

from __future__ import annotations

import numpy as np
from tests.planning.small_programs import random_program

from sowbench.planning.neighborhood import Choice, Part
from sowbench.planning.repair import uses_at


def test_uses_of_a_day_are_those_of_each_part_by_itself():
    program = random_program(11, n_orders=4, n_candidates=10, with_crew=True)
    parts = [Part(j, max(1, int(program.n_units[j]) // 2)) for j in range(program.n)]
    alone = [Choice([p]).residual(program) for p in parts]
    capacity = program.resources.capacity
    for resource, day in np.ndindex(*capacity.shape):
        found = uses_at(program, Choice(parts), resource, day)
        whole = np.array([capacity[resource, day] - left[resource, day] for left in alone])
        if resource == program.crew:  # the change of lot is not one part's own
            whole -= program.setup_minutes * (program.lot_day_sow[program.lot_day] == day)
        if np.isfinite(capacity[resource, day]):
            np.testing.assert_allclose(found, whole, atol=1e-9)
