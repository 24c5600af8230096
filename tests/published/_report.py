"""Record how a table of published values compares, so that a summary can be printed of all.

``record`` always returns the median, 90th percentile and largest absolute error. When the
environment variable ``SOWBENCH_REPORT`` names a file, it also appends one JSON line to it;
``SOWBENCH_REPORT=1`` appends to ``sowbench-report.jsonl`` in the system's temporary folder.
Run with ``SOWBENCH_REPORT=report.jsonl pytest tests/published`` and then
``python tests/published/_report.py report.jsonl`` to print the table.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike


class Errors(NamedTuple):
    """Median, 90th percentile and worst of the absolute errors."""

    median: float
    p90: float
    worst: float


def report_file() -> Path | None:
    """Return where lines go, or None when no report is wanted."""
    wanted = os.environ.get("SOWBENCH_REPORT", "")
    if not wanted:
        return None
    if wanted == "1":
        return Path(tempfile.gettempdir()) / "sowbench-report.jsonl"
    return Path(wanted)


def record(
    table_name: str, source: str, n_compared: int, errors: ArrayLike, unit: str, note: str = ""
) -> Errors:
    """Sum up absolute errors of one comparison and append them to the report if one is wanted."""
    sizes = np.abs(np.asarray(errors, dtype=np.float64).ravel())
    if sizes.size == 0 or sizes.size != n_compared:
        message = f"{table_name}: {n_compared} values compared but {sizes.size} errors given."
        raise ValueError(message)
    if not np.all(np.isfinite(sizes)):
        message = f"{table_name}: an error is not a finite number."
        raise ValueError(message)
    median, p90 = np.quantile(sizes, [0.5, 0.9])
    result = Errors(float(median), float(p90), float(sizes.max()))
    path = report_file()
    if path is not None:
        line = {
            "table": table_name,
            "source": source,
            "n": int(n_compared),
            "median": result.median,
            "p90": result.p90,
            "worst": result.worst,
            "unit": unit,
            "note": note,
        }
        with path.open("a", encoding="utf-8") as out:
            out.write(json.dumps(line, ensure_ascii=False) + "\n")
    return result


def summary(path: Path) -> str:
    """Return the report as a Markdown table, the last line of each table counting."""
    lines = [json.loads(text) for text in path.read_text(encoding="utf-8").splitlines() if text]
    latest = {line["table"]: line for line in lines}
    rows = [
        "| compared with | source | values | median | 90 % | worst | unit |",
        "|---|---|---:|---:|---:|---:|---|",
    ]
    rows += [
        f"| {name} | {line['source']} | {line['n']} | {line['median']:.3g} | {line['p90']:.3g} "
        f"| {line['worst']:.3g} | {line['unit']} |"
        for name, line in sorted(latest.items())
    ]
    return "\n".join(rows)


if __name__ == "__main__":
    sys.stdout.write(summary(Path(sys.argv[1])) + "\n")
