"""A student's whole record: read, replaced, vouched for, proved, erased."""
