"""Turns seen: from what the probes of a bed say, when it was turned, how far, and how sure that is."""
