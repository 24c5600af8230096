"""Run as a program: writes notes until its file may grow no further, then goes on with more room.

Says how many notes were kept when it was full, what was said, and how many there are at the end.
"""

import json
import resource
import sys
from datetime import UTC, date, datetime

from sowbench.domain.journal import Entry, EntryKind
from sowbench.science.errors import StoreFullError
from sowbench.store.book import HouseBook, open_book


def add(book: HouseBook, number: int) -> None:
    """Write one long note."""
    note = Entry(
        f"{number:032x}", date(2027, 3, 9), EntryKind.NOTED, "S-1", note=f"{number}" + "x" * 50_000
    )
    with book.writing() as unit:
        unit.journal.add([note], datetime.now(UTC))
        unit.commit()


def main() -> None:
    """Fill the book."""
    book = open_book(sys.argv[1])
    hard = resource.getrlimit(resource.RLIMIT_FSIZE)[1]
    resource.setrlimit(resource.RLIMIT_FSIZE, (2_000_000, hard))
    kept, said = 0, ""
    while not said:
        try:
            add(book, kept)
            kept += 1
        except StoreFullError as error:
            said = str(error)
    with book.reading() as unit:
        found = unit.journal.n_entries()
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    add(book, kept)
    book.close()
    sys.stdout.write(json.dumps({"kept": kept, "found": found, "said": said}))


if __name__ == "__main__":
    main()
