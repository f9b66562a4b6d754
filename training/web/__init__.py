"""The pages: server-rendered, for people. They render reports and decide nothing."""
