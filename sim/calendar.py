"""Hours, days and months, as every room of the simulator counts and names them."""

HOURS = 24  # in a day
HOUR_S = 3600
YEAR_DAYS = 365  # a year of days; the day of a leap year makes no difference where this is used
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def clock(minute: int) -> str:
    """Return a minute of the day, or of the next one, as "HH:MM"."""
    return f"{minute // 60 % 24:02}:{minute % 60:02}"
