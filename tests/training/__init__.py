"""The stored record: services, reports, ledger and pages."""
