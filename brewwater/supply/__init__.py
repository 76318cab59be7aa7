"""From an analysis to complete waters, and from a fill calendar to the water in the tank."""
