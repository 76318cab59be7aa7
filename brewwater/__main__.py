"""``python -m brewwater``: the command line."""

from brewwater.cli import main

raise SystemExit(main())
