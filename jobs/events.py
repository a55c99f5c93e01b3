"""The events of a job: their schemas, their examples, and how `data` is built."""
