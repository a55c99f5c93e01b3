"""What may be sent: strict serializers, used by the API, pages and tasks alike."""
