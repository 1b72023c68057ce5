"""Rehearsing trees, learning from closed sessions, exercises."""
