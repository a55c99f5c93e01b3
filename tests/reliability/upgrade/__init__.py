"""A database of release 511a5e9 with the demo's day in it, and what that release answered of it.

`rows.json.gz` holds the rows by table, as SQLite stored them; passwords and keys are taken out.
`answers.json.gz` holds what each system's key was answered, and when.
"""
