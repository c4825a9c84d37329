"""The network of an arrangement in a given state: solved, predicted, drawn."""
