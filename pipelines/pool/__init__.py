"""The DuckDB warehouse: build, views, queries."""
