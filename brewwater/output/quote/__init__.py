"""A quote for a unit: what is paid once, what the year costs, and the other ways, side by side."""
