"""Sediment filter: holds particles, leaves what is dissolved. It ends by pressure drop, volume or time."""

from brewwater.treatment.medium import Medium, same, volume_only

MEDIUM = Medium("sediment", same, volume_only, frozenset({"volume", "time", "pressure"}))
