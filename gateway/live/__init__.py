"""The daemon: it builds the edges, owns threads and signals, and runs the verbs."""
