"""Weather: a typical-year file as one checked frame with our names.

``find`` looks for files, ``formats`` lists their formats (a parser each in ``tmy3``, ``tmy2``, ``epw``; ``parsing`` is
what these share), ``year`` checks the values and makes the frame.
"""

from binestimator.weather.find import find_weather
from binestimator.weather.year import Weather, read_weather, weather_for

__all__ = ["Weather", "find_weather", "read_weather", "weather_for"]
