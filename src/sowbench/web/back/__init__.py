"""Pages: looking back on a season."""
