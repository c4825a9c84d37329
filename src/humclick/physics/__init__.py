"""Laws of the bench: copper, wire, capacitors, insulation, supply, cooling."""
