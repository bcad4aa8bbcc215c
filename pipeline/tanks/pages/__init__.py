"""What is read at the tank, and printed: the audit, the page beside the tank, the guide, calendars."""
