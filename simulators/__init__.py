"""A simulated floor maltings that publishes what its probes measure; for trying things out, never for the trade."""
