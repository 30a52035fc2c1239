"""Measurements. `python -m tests.bench NAME` prints one JSON line."""
