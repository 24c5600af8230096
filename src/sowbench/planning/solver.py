"""The solver, silent and on one thread."""

from __future__ import annotations

from typing import cast

import highspy
from highspy import _Highs  # type: ignore[attr-defined]


def quiet_solver() -> highspy.Highs:
    """Make a solver that prints nothing.

    The plain class prints a banner to standard output while it is made, before any option can be
    set; its base, which does all we use, does not.
    """
    solver = cast("highspy.Highs", _Highs())
    solver.setOptionValue("output_flag", "off")
    solver.setOptionValue("threads", 1)
    return solver
