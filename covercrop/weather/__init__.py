"""Daily weather: the table and its checks, files, stations, and the rest of the season."""
