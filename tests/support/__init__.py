"""What the tests share: people, rows, servers, workers. No test stands here."""
