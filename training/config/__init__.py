"""Where the parts are put together: settings, addresses, servers. Nothing else imports this package."""
