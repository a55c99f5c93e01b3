"""An app whose view and task fail, with a message that quotes people."""

from django.apps import AppConfig

WORDS = "Odile Farrant <odile.farrant@brackmoor.example> of 'TU21 ABC' (ring 01632 960147) is out"


class FaultsConfig(AppConfig):
    name = "tests.reliability.faults"
