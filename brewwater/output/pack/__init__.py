"""The pack of a unit: for its owner's client, and for an inspector."""
