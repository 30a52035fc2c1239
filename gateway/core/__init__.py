"""The pure part: values and arithmetic. No socket, file, clock, thread, log or random number."""
