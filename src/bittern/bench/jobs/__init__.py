"""Jobs on record: the store, the log, sealed values, drafts."""
