"""Pages: working."""
