"""The call: events, their fold, the call file, the sheet."""
