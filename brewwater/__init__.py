"""brewwater: the water-quality and filtration planner for people who serve coffee."""
