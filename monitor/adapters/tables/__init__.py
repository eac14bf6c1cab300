"""The project's tables: TOML read by pydantic into frozen values of the domain."""
