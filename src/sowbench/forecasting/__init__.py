"""What counts say of a sowing: usable plants, ready days, chances of its orders."""
