"""Pytest plugin for the mutation run: few examples, nothing shrunk, and nothing remembered from before the fork."""

from __future__ import annotations

import sys
import threading

import pytest
from hypothesis import Phase, settings

EXAMPLES = 8
_KEPT = "_hypothesis_internal_use_settings"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Hypothesis tests with few, fixed examples; the first failure is enough."""
    for item in items:
        test = getattr(item, "obj", None)
        asked = getattr(test, _KEPT, None) or (settings() if hasattr(test, "hypothesis") else None)
        if asked is not None:
            quick = settings(
                asked,
                max_examples=min(asked.max_examples, EXAMPLES),
                phases=(Phase.explicit, Phase.generate),
                database=None,
                derandomize=True,
                deadline=None,
            )
            setattr(getattr(test, "__func__", test), _KEPT, quick)


def pytest_runtest_setup() -> None:
    """Forget what was computed before: a mutant must not be answered from the memory of the whole function, and
    every test that reaches a function must be seen to."""
    for name, module in list(sys.modules.items()):
        if name.startswith(("brewwater.chemistry", "brewwater.treatment", "brewwater.changes")):
            for value in vars(module).values():
                if hasattr(value, "cache_clear"):
                    value.cache_clear()
                elif isinstance(value, threading.local):
                    vars(value).clear()
