"""The append-only store of everything that happened, and the recordings made from it."""
