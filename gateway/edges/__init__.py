"""The thin outside: each module is the only one that imports its library."""
