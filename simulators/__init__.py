"""A simulated floor maltings that publishes what its probes measure: for trying out, never the trade."""
