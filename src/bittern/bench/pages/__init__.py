"""The bench's pages: Today, search, the traveller with its eight legs."""
