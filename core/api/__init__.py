"""What every API view stands on: parsing, rendering, errors, paging, limits, idempotency."""
