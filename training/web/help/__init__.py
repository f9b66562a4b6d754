"""The help pages: Markdown in ``pages/``, one folder for each reader, and the two views that show them."""
