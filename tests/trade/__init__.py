"""Tests of the units, the sums and the cylinder patterns."""
