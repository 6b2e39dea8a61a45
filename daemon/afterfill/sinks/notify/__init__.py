"""To people: messages about alarms and verdicts, and a sign of life."""
