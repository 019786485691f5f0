"""The commands, a module each: what can be asked, and one call of the library to answer it."""
