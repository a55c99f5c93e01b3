"""Photographs: taken in, kept, paired."""
