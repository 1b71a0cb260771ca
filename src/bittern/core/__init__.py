"""What two rooms of the house need alike: errors, faults, published quantities, the character channel."""
