"""Who works here: accounts, roles, login, lock-out."""
