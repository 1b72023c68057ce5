"""The report of a session, made from its state."""
