"""What finished jobs taught: the lessons on record, what they changed, and how the owner takes them back."""
