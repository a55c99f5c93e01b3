"""Who is who: organisations, trade accounts, people and keys; decides nothing about a job."""
