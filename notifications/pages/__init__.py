"""Pages about notices: endpoints, deliveries, sending again."""
