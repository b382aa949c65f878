"""The database: SQLite by default, PostgreSQL when several replicas run. Reached only from `wiring`."""
