"""Pages: sowings."""
