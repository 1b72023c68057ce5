"""Units, sums and cylinder patterns: the arithmetic of the trade as pure functions.

Nothing here knows trees, sessions or screens, and nothing here reads a file but the unit
definitions. Import the module that is needed: `units`, `sums`, `patterns`.
"""
