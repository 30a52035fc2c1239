"""The words one types: each picks a driver, prints, sets the exit code."""
