"""What a photographed label says: lines of print put in order, and the pieces that could be numbers."""
