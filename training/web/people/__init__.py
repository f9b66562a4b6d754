"""The administrator's pages of people: students, guardians, instructors, enrollments."""
