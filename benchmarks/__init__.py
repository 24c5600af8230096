"""Measures of speed and quality, and the invented seasons they run on."""
