"""Working time over zones, holidays and clock changes: the only place where dates are reckoned.

Pure: the present moment always comes in as an argument. Every instant goes out aware and in UTC.
"""
