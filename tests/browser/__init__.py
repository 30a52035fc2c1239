"""The pages as a browser shows them, over a gateway of real parts with a night of the simulators in it."""
