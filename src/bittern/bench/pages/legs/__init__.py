"""One module a leg: what its part of the traveller shows when it is open."""
