"""Pages: plans."""
