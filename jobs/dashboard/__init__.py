"""The dealer's face: the dashboard, and the link in an e-mail."""
