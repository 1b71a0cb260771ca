"""The model over every article one by one, slow and plain: the reference for what pools and tables give."""
