"""Everything that changes a job: one verb, one transaction, one history entry, one event."""
