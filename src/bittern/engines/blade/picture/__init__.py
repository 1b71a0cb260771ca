"""From a picture to a silhouette in millimetres: the measuring card, and the outline of a key."""
