"""To a time-series database: every record, once, in order."""
