"""What services ask of a house book; the store answers, tests may answer in its stead."""

from sowbench.domain.ports.book import Book, Unit

__all__ = ["Book", "Unit"]
