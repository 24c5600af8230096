"""Pages: what is coming."""
