"""The Textual app: pages, widgets, and one gate from data to what the terminal shows.

Nothing here is imported by the core. `app` starts it; `actions` is the one table of keys; `text` is
the only way by which words from a file, a log or a keyboard reach the screen; `work` holds the
session that is open, without any widget.
"""
