"""The invented scenario of the demo: people, cases and their three months.

Nothing here is real: names are coined, addresses end in ``.example`` (reserved by
RFC 2606), and every organisation says "(invented)" in its name.
"""
