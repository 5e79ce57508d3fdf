"""Pure functions on arrays: level, trend, monitors, change, like-for-like, projection, rates. They know no engines.

Every function takes plain float arrays, in which NaN means "no reading" and is left out (each docstring says so where
it matters), and answers with one number or one small frozen dataclass. An end of an interval that the readings cannot
close is None.
"""
