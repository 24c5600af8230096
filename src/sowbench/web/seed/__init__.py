"""Pages: seed."""
