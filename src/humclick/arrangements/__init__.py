"""The start arrangements, one TOML file each."""
