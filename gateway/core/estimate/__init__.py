"""What cannot be measured directly: it is worked out from what the probes say."""
