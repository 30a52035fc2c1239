"""Sensor gateway for a traditional floor maltings."""

__version__ = "0.1.0"
