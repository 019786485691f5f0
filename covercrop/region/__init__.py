"""The same chain over every cell of a grid, or every station of a table."""
