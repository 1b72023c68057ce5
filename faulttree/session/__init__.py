"""Sessions: events, their fold into a state, and the journal file."""
