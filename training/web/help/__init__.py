"""The help pages: Markdown in ``pages/``, one folder for each kind of reader, and two views."""
