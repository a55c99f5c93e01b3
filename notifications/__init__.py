"""Tells organisations what happened: outbox, endpoints, delivery, e-mail, the catch-up feed."""
