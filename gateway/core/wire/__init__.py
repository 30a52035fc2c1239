"""From bytes to readings: one file a payload form, and the book of who sends what where."""

from gateway.core.wire.book import Book, decode, rejected
from gateway.core.wire.clock import clock_ms
from gateway.core.wire.gauge import AHEAD_MS, TOLD_AHEAD_MS
from gateway.core.wire.refusal import Refusal

__all__ = ["AHEAD_MS", "TOLD_AHEAD_MS", "Book", "Refusal", "clock_ms", "decode", "rejected"]
