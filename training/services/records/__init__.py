"""A student's whole record: read, replaced, attested, proved, erased."""
