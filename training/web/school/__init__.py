"""The administrator's pages: the school at a glance, records, courses, minimums, imports, audit."""
