"""The Textual program."""
