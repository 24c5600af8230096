"""Plan the work of a propagation house: transplants raised from seed for other plantings."""

__version__ = "0.1.0"
