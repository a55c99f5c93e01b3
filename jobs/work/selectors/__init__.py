"""Reads of jobs for others; who may see which job is decided here and nowhere else."""
