"""The vehicle engine: from a vehicle number, perhaps badly read, to a known vehicle."""
