"""What a vehicle is made of: areas, views, fuels."""
