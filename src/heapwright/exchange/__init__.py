"""Other people's formats: sheets, loggers, iCalendar."""
