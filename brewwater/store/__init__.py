"""Kept safe: plans as versions and the log as lines, both only ever added, on SQLite or PostgreSQL.

``Store.open_default()`` is the user's own; the front end makes ``Store(engine, person, validate=...)`` with
the engine of Streamlit's SQL connection.
"""

from brewwater.store.core import Store, read_document
from brewwater.store.database import data_folder, database_url, engine_options, make_engine
from brewwater.store.faults import NotAllowed, StaleSave, UnknownUnit
from brewwater.store.migration import Migrations, migrate
from brewwater.store.records import PlanVersion, SavedUnit, VersionLine

__all__ = [
    "Migrations",
    "NotAllowed",
    "PlanVersion",
    "SavedUnit",
    "StaleSave",
    "Store",
    "UnknownUnit",
    "VersionLine",
    "data_folder",
    "database_url",
    "engine_options",
    "make_engine",
    "migrate",
    "read_document",
]
