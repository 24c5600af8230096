"""The use cases, taking and returning plain values."""
