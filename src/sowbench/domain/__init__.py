"""Frozen records of the trade, and the ports through which the outside is reached."""
