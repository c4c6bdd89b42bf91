"""Dates and times that mean the same on both sides of an ocean: 3 Apr 2026, 14:05."""

DATE_FORMAT = "j M Y"
SHORT_DATE_FORMAT = "j M Y"
DATETIME_FORMAT = "j M Y, H:i"
SHORT_DATETIME_FORMAT = "j M Y, H:i"
TIME_FORMAT = "H:i"
MONTH_DAY_FORMAT = "j M"
FIRST_DAY_OF_WEEK = 1
