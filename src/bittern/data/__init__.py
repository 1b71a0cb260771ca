"""Published tables and public data, each with its source."""
