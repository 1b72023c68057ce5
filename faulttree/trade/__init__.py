"""Units and sums of the trade: pure functions."""
