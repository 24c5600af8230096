"""Pages: entries."""
