"""The search in a process of its own, and the queue before it."""
