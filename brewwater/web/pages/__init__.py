"""The pages: one function each, listed in ``router``."""
