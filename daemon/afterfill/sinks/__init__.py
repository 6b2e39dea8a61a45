"""Projections of the journal to brokers and databases, each with a cursor of its own."""
