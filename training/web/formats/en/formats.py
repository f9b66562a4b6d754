"""English: dates with the month in letters, and the 24-hour clock of a logbook."""

DATE_FORMAT = "j M Y"
TIME_FORMAT = "H:i"
YEAR_MONTH_FORMAT = "M Y"
