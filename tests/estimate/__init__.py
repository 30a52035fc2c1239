"""Tests, by what they try."""
