"""The web pages. They render reports on the server and decide nothing."""
