"""The demonstration: everything that is needed to see one night at Quern Hill Maltings, in one terminal."""
