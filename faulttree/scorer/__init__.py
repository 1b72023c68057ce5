"""The exact scorer: evidence, inference, advice and explanation."""
