"""The vehicle link: what is said on the bus and what is heard, without any bus; read only."""
