"""Scenario, candidate, search, the value of a test: what ``plan.make_plan`` puts together."""
