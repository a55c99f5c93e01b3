"""Backups of all that the service keeps, the proof that one can be restored, and restoring it.

A backup is a folder: the database, the files that it names, and `manifest.json`, which is written
last. Field keys and the signing key are never in it; what is in it is for its owner only.
"""
