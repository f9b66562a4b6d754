"""Import flights from a spreadsheet."""
