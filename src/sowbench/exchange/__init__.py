"""Files in and out: tables, weather, calendars, sheets and labels."""
