"""The engines: pure computing, no web, no database, no clock, no files."""
