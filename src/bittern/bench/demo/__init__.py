"""The demo shop, put into a database."""
