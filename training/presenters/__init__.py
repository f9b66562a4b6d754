"""Presenters put the engine's values into words for people; page, PDF, e-mail and terminal use them.

They take values and return text in the reader's language, without models, requests or HTML. The table, mail
or page around the text is the caller's.
"""
