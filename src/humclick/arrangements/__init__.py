"""The start arrangements, one TOML file each; `machine` puts one together for a nameplate."""
