"""Values in, bytes out: PDF, XLSX, CSV, iCalendar."""
