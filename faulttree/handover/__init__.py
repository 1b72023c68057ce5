"""The report of a session, for a colleague, the shop lead or the customer.

`report` says what it holds, in blocks without any markup; `markdown` and `html` write them out.
"""
