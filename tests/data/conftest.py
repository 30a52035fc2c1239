"""Stores of whole years lie in memory, as those of the scenarios do."""

from tests.scenarios.conftest import folder

__all__ = ["folder"]
