"""Presenters: what the engine answers with as values, in words for people. Any edge may use them.

What lives here takes values and returns text in the reader's language: no model, no request, no HTML. The
table, mail or page around the text belongs to the edge.
"""
