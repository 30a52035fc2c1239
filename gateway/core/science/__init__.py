"""Plain functions of physics and hygiene: moist air, water in grain, what people breathe."""
