"""The heat of a bed: its balance since its last turn, and what it will come to."""
