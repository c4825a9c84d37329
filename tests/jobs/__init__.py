"""Tests of the call: events, fold, call file, schema."""
