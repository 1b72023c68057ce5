"""The rules that trees are checked by; each rule's docstring is its page."""
