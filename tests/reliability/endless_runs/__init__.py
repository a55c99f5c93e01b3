"""An app in which a run of deliveries goes on for as long as a receiver keeps it waiting."""
