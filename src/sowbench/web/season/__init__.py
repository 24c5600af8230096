"""Pages: season."""
